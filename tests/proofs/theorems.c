/* What follows of the contracts of the safety core's decisions over any number of steps: one theorem
 * each, for Frama-C's WP. Nothing here is part of the board. */
#include "../../firmware/core.h"

/* Two good readings in a row at or above the trip point cut off, whatever was counted before and
 * however many bad ones lie between. */
/*@ requires \valid(over) && first >= trip && second >= trip;
    assigns *over;
    ensures \result; */
bool two_in_a_row(uint8_t *over, int16_t first, int16_t second, int16_t trip, uint16_t bad)
{
    (void)safety_count_over(over, true, first, trip);
    /*@ loop invariant *over >= 1;
        loop assigns bad, *over;
        loop variant bad; */
    while (bad != 0u) {
        (void)safety_count_over(over, false, second, trip);
        bad--;
    }
    return safety_count_over(over, true, second, trip);
}

/* One reading alone never cuts off. */
/*@ requires \valid(over) && below < trip;
    assigns *over;
    ensures !\result; */
bool one_alone(uint8_t *over, int16_t below, int16_t above, int16_t trip)
{
    (void)safety_count_over(over, true, below, trip);
    return safety_count_over(over, true, above, trip);
}

/* The first cause stays, whatever is found afterwards. */
/*@ requires \valid_read(found + (0 .. count - 1)) && latched != SAFETY_NONE;
    assigns \nothing;
    ensures \result == latched; */
enum safety_cause first_stays(enum safety_cause latched, const enum safety_cause *found,
                              uint16_t count)
{
    enum safety_cause latch = latched;
    /*@ loop invariant latch == latched && at <= count;
        loop assigns at, latch;
        loop variant count - at; */
    for (uint16_t at = 0; at < count; at++) {
        latch = safety_first(latch, found[at]);
    }
    return latch;
}

/* Without a hand at the board no list of requests raises the trip point. */
/*@ requires \valid_read(wanted + (0 .. count - 1));
    assigns \nothing;
    ensures \result <= present;
    ensures \result == present || \result >= SAFETY_TRIP_LEAST; */
int16_t without_a_hand(int16_t present, const int32_t *wanted, uint16_t count, bool armed)
{
    int16_t trip = present;
    /*@ loop invariant trip <= present && at <= count;
        loop invariant trip == present || trip >= SAFETY_TRIP_LEAST;
        loop assigns at, trip;
        loop variant count - at; */
    for (uint16_t at = 0; at < count; at++) {
        if (safety_judge_trip(trip, wanted[at], armed, false) == SAFETY_TRIP_TAKEN) {
            trip = (int16_t)wanted[at];
        }
    }
    return trip;
}

/* A time of so many passes runs out with the last of them, neither before nor again. */
/*@ requires passes > 0;
    assigns \nothing;
    ensures \result; */
bool lasts(uint16_t passes, uint16_t more)
{
    uint16_t left = passes;
    /*@ loop invariant 1 <= at <= passes && left == passes - at + 1;
        loop assigns at, left;
        loop variant passes - at; */
    for (uint16_t at = 1; at < passes; at++) {
        if (safety_runs_out(&left)) {
            return false;
        }
    }
    bool ends = safety_runs_out(&left);
    /*@ loop invariant left == 0;
        loop assigns more, left;
        loop variant more; */
    while (more != 0u) {
        if (safety_runs_out(&left)) {
            return false;
        }
        more--;
    }
    return ends;
}
