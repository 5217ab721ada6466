/* The inside of the safety core: only its own sources include this. safety.h is its outside. */
#ifndef CORE_H
#define CORE_H

#include "safety.h"

/* ---- rules.c: what is judged of the readings, section 6.5 of PROTOCOL.md ---- */

void rules_start(struct rules *rules, uint8_t halves);

/* Judge by the R, lag and heat-up time of the mould in use; what the rules remember stays. */
void rules_set_mould(struct rules *rules, const struct rules_mould mould[SAFETY_HALVES]);

/* Begin anew with an arming: readings of before it are not compared. */
void rules_arm(struct rules *rules);

/* A charge is announced at these temperatures. */
void rules_charge(struct rules *rules, const int16_t tenths[SAFETY_HALVES]);

/* Returns whether R and lag are stored for every half. */
bool rules_know_mould(const struct rules *rules);

/* A read at which nothing is judged: time passes, and what was too hot before is not counted on. */
void rules_pause(struct rules *rules);

/* Judges one read; one comes each 200 ms. */
struct rules_verdict rules_judge(struct rules *rules, const struct rules_half half[SAFETY_HALVES],
                                 const struct rules_around *around);

/* ---- safety.c ---- */

/* Everything that can change the state. */
enum core_move {
    CORE_STARTED,   /* out of reset */
    CORE_TESTED,    /* self-test passed, no latch stored */
    CORE_CLEAR,     /* every condition for ready holds */
    CORE_NOT_CLEAR, /* one of them does not */
    CORE_ARM,       /* the right answer, then a press of ARM */
    CORE_DISARM,    /* asked, silent, nobody present, full duty too long */
    CORE_TRIP,
    CORE_RESET /* by hand at the board */
};

/* Mains at the chain, button out, thermostats closed. */
/*@ predicate lets_heat(struct safety *safety) = (safety->inputs & SAFETY_IN_MAINS) != 0 &&
        (safety->inputs & SAFETY_IN_BUTTON) == 0 && (safety->inputs & SAFETY_IN_THERMOSTAT) == 0; */

/* A latched cause stays as it is from one moment to another. */
/*@ predicate kept{A, B}(struct safety *safety) =
        \at(safety->latch, A) != SAFETY_NONE && \at(safety->latch, A) < SAFETY_CAUSES ==>
        \at(safety->latch, B) == \at(safety->latch, A); */

/* Every function that writes opens and closes: a seal that does not fit trips. */
void core_open(struct safety *safety);
void core_close(struct safety *safety);

void core_say(struct safety *safety, enum safety_event code, int16_t tenths);
void core_change(struct safety *safety, enum core_move move);
void core_drive_contactor(struct safety *safety);
void core_end_heat(struct safety *safety);
void core_trip(struct safety *safety, enum safety_cause cause, int16_t tenths);
void core_disarm(struct safety *safety, enum safety_event code, int16_t tenths, bool lingers);
void core_settle(struct safety *safety);
bool core_may_heat(const struct safety *safety);
bool core_is_testing(const struct safety *safety);

#endif
