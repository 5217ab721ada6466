#include "core.h"

#define PRESENCE_BITS (SAFETY_IN_NEXT | SAFETY_IN_ARM | SAFETY_IN_BUTTON)

void safety_start(struct safety *safety, uint8_t halves, const struct safety_kept *kept,
                  uint16_t inputs)
{
    uint8_t *byte = (uint8_t *)safety;
    for (uint16_t at = 0; at < sizeof *safety; at++) {
        byte[at] = 0;
    }
    safety->halves = halves == 1u ? 1u : SAFETY_HALVES;
    safety->trip = kept->trip;
    safety->trip_inverted = (int16_t)~kept->trip;
    safety->latch = kept->latch < SAFETY_CAUSES ? kept->latch : SAFETY_SELFTEST_FAILED;
    safety->inputs = inputs;
    safety->testing = SAFETY_SELFTEST_TIME;
    safety->open = SAFETY_OPEN_TIME;
    safety->press_left = SAFETY_HEAT_TIME;
    rules_start(&safety->rules, safety->halves);
    rules_set_mould(&safety->rules, kept->mould);
    safety->mould_known = rules_know_mould(&safety->rules);
    safety->state = SAFETY_BOOT;
    core_change(safety, CORE_STARTED);
    core_say(safety, SAFETY_EVENT_BOOT, 0);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety); */
void safety_end_selftest(struct safety *safety, bool passed)
{
    core_open(safety);
    safety->selftest_done = true;
    if (!passed) {
        safety->selftest_failed = true;
    }
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_TRIPPED && safety->latch != SAFETY_NONE; */
void safety_fail_selftest(struct safety *safety)
{
    core_open(safety);
    safety->selftest_failed = true;
    core_trip(safety, SAFETY_SELFTEST_FAILED, 0);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats);
    ensures safety->inputs == inputs;
    ensures safety->state == SAFETY_ARMED ==> lets_heat(safety); */
void safety_set_inputs(struct safety *safety, uint16_t inputs)
{
    core_open(safety);
    uint16_t moved = safety->inputs ^ inputs;
    uint16_t on = moved & inputs;
    safety->inputs = inputs;
    if ((on & PRESENCE_BITS) != 0u && safety->state == SAFETY_ARMED) {
        safety->present = SAFETY_PRESENCE_TIME;
    }
    if ((moved & SAFETY_IN_OPEN) != 0u) {
        safety->open = SAFETY_OPEN_TIME;
        safety->open_too_long = false;
    }
    if ((moved & SAFETY_IN_CONTACTOR) != 0u && safety->mirror == 0u) {
        safety->mirror = SAFETY_MIRROR_STEPS;
    }
    if ((on & SAFETY_IN_THERMOSTAT) != 0u && !core_is_testing(safety)) {
        core_trip(safety, SAFETY_CHAIN, 0);
    }
    core_settle(safety);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats); */
static void finish_selftest(struct safety *safety)
{
    safety->testing = (uint8_t)(safety->testing - 1u);
    if (safety->testing != 0u) {
        return;
    }
    /* Tests that have not ended by now have failed. */
    if (safety->selftest_failed || !safety->selftest_done) {
        safety->selftest_failed = true;
        core_trip(safety, SAFETY_SELFTEST_FAILED, 0);
    } else if (safety->latch != SAFETY_NONE) {
        core_change(safety, CORE_TRIP);
    } else {
        core_change(safety, CORE_TESTED);
    }
    core_settle(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats); */
static void watch_mirror(struct safety *safety)
{
    bool in = (safety->inputs & SAFETY_IN_CONTACTOR) != 0u;
    if (safety->mirror == 0u) {
        return;
    }
    if (in == safety->contactor) {
        safety->mirror =
            safety->mirror < 2u * SAFETY_MIRROR_STEPS ? (uint8_t)(safety->mirror + 1u) : 0u;
    } else if (safety->mirror > 2u) {
        safety->mirror = (uint8_t)(safety->mirror - 2u); /* faster, so that chatter runs out too */
    } else {
        safety->mirror = 0;
        core_trip(safety, SAFETY_MIRROR, 0);
    }
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats);
    ensures \old(safety->session) && \old(safety->silent) + 1 >= SAFETY_DISARM_TIME &&
            \old(safety->silent) < 255 ==> safety->state != SAFETY_ARMED;
    ensures \old(safety->session) && \old(safety->silent) + 1 >= SAFETY_RELEASE_TIME &&
            \old(safety->silent) < 255 ==> !safety->contactor && !safety->session; */
static void watch_host(struct safety *safety)
{
    if (safety->lingers != 0u) {
        safety->lingers = (uint8_t)(safety->lingers - 1u);
    }
    if (!safety->session) {
        return;
    }
    safety->silent = (uint8_t)(safety->silent + 1u);
    if (safety->silent < SAFETY_DISARM_TIME) {
        return;
    }
    if (safety->state == SAFETY_ARMED) {
        core_disarm(safety, SAFETY_EVENT_SILENCE, 0, true);
    }
    if (safety->silent >= SAFETY_RELEASE_TIME) {
        safety->cut = true;
        core_end_heat(safety);
        safety->session = false;
        safety->lingers = 0;
        core_settle(safety);
        core_say(safety, SAFETY_EVENT_RELEASED, 0);
    }
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats);
    ensures \old(safety->heat_left) <= 1 || \old(safety->press_left) <= 1 ==>
            safety->heats == 0; */
static void watch_heat(struct safety *safety)
{
    if (safety->press_left != 0u && safety->press_left != SAFETY_HEAT_TIME) {
        safety->press_left = (uint16_t)(safety->press_left - 1u);
    }
    if (safety->heats == 0u) {
        return;
    }
    const uint8_t half = (uint8_t)(safety->heats == 1u ? SAFETY_UPPER : SAFETY_LOWER);
    int16_t tenths = safety->tenths[half];
    if (safety->heat_left != 0u) {
        safety->heat_left = (uint8_t)(safety->heat_left - 1u);
    }
    if (safety->press_left == 0u || tenths >= SAFETY_HEAT_MOST || safety->heat_left == 0u) {
        core_end_heat(safety);
    } else if (safety_runs_out(&safety->rise_left[half])) {
        int16_t risen = (int16_t)(tenths - safety->rise_tenths[half]);
        safety->rise_left[half] = SAFETY_HEAT_RISE_TIME;
        safety->rise_tenths[half] = tenths;
        if (risen < SAFETY_HEAT_RISE) {
            core_trip(safety, SAFETY_NORISE, tenths);
        }
    }
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats); */
static void watch_press(struct safety *safety)
{
    if (safety_runs_out(&safety->charge)) {
        safety->window = false;
    }
    if ((safety->inputs & SAFETY_IN_OPEN) != 0u && safety_runs_out(&safety->open)) {
        safety->open_too_long = true;
        if (safety->state == SAFETY_ARMED) {
            core_say(safety, SAFETY_EVENT_OPENOFF, safety_hottest(safety));
        }
    }
    watch_heat(safety);
    if (safety->state == SAFETY_ARMED && safety_runs_out(&safety->present)) {
        core_disarm(safety, SAFETY_EVENT_PRESENCE, 0, false);
    }
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats); */
void safety_pass(struct safety *safety, bool sensors_good)
{
    core_open(safety);
    safety->sensors_good = sensors_good;
    if (core_is_testing(safety)) {
        finish_selftest(safety);
    } else {
        watch_mirror(safety);
        watch_host(safety);
        watch_press(safety);
        core_settle(safety);
    }
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats); */
static void act(struct safety *safety, struct rules_verdict verdict, int16_t tenths)
{
    if (verdict.trip != SAFETY_NONE) {
        core_trip(safety, verdict.trip, tenths);
    } else if (verdict.fall) {
        safety->fallen = true;
        core_say(safety, SAFETY_EVENT_FALL, tenths);
    } else if (verdict.full) {
        core_disarm(safety, SAFETY_EVENT_FULL, tenths, false);
    }
    core_settle(safety);
}

/*@ requires \valid(safety) && 1 <= safety->halves <= SAFETY_HALVES;
    requires \valid_read(half + (0 .. SAFETY_HALVES - 1));
    requires \separated(safety, half + (0 .. SAFETY_HALVES - 1));
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats); */
void safety_read(struct safety *safety, const struct rules_half half[SAFETY_HALVES],
                 bool sensors_good)
{
    core_open(safety);
    safety->sensors_good = sensors_good;
    /*@ loop invariant 0 <= each <= safety->halves;
        loop assigns each, safety->tenths[0 .. SAFETY_HALVES - 1];
        loop variant safety->halves - each; */
    for (uint8_t each = 0; each < safety->halves; each++) {
        safety->tenths[each] = half[each].tenths;
    }
    if (core_is_testing(safety) || safety->state == SAFETY_TRIPPED) {
        rules_pause(&safety->rules);
    } else {
        const struct rules_around around = {
            .trip = safety_trip(safety),
            .armed = safety->state == SAFETY_ARMED,
            .closed = (safety->inputs & SAFETY_IN_OPEN) == 0u,
            .contactor = (safety->inputs & SAFETY_IN_CONTACTOR) != 0u,
            .window = safety->window,
        };
        struct rules_verdict verdict = rules_judge(&safety->rules, half, &around);
        act(safety, verdict, half[verdict.half].tenths);
    }
    core_close(safety);
}
