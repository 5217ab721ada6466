#include "safety.h"

#define PRESENCE_BITS (SAFETY_IN_NEXT | SAFETY_IN_ARM | SAFETY_IN_BUTTON)

void safety_start(struct safety *safety, uint8_t halves, const struct safety_kept *kept,
                  uint16_t inputs, uint32_t now_ms)
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
    safety->selftest_ms = now_ms;
    safety->open_ms = now_ms;
    rules_start(&safety->rules, safety->halves);
    rules_set_mould(&safety->rules, kept->mould);
    safety->mould_known = rules_know_mould(&safety->rules);
    safety->state = SAFETY_BOOT;
    core_change(safety, CORE_STARTED, now_ms);
    core_say(safety, SAFETY_EVENT_BOOT, 0);
    core_close(safety);
}

void safety_end_selftest(struct safety *safety, bool passed, uint32_t now_ms)
{
    core_open(safety, now_ms);
    safety->selftest_done = true;
    if (!passed) {
        safety->selftest_failed = true;
    }
    core_close(safety);
}

void safety_fail_selftest(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    safety->selftest_failed = true;
    core_trip(safety, SAFETY_SELFTEST_FAILED, 0, now_ms);
    core_close(safety);
}

void safety_set_inputs(struct safety *safety, uint16_t inputs, uint32_t now_ms)
{
    core_open(safety, now_ms);
    uint16_t moved = safety->inputs ^ inputs;
    uint16_t on = moved & inputs;
    safety->inputs = inputs;
    if ((on & PRESENCE_BITS) != 0u && safety->state == SAFETY_ARMED) {
        safety->present_ms = now_ms;
    }
    if ((moved & SAFETY_IN_OPEN) != 0u) {
        safety->open_ms = now_ms;
        safety->open_too_long = false;
    }
    if ((moved & SAFETY_IN_CONTACTOR) != 0u) {
        safety->mirror_ms = now_ms;
        safety->mirror_due = true;
    }
    if ((on & SAFETY_IN_THERMOSTAT) != 0u && !core_is_testing(safety)) {
        core_trip(safety, SAFETY_CHAIN, 0, now_ms);
    }
    core_settle(safety, now_ms);
    core_close(safety);
}

static void finish_selftest(struct safety *safety, uint32_t now_ms)
{
    if (!safety_is_over(now_ms, safety->selftest_ms, SAFETY_SELFTEST_MS)) {
        return;
    }
    /* Tests that have not ended by now have failed. */
    if (safety->selftest_failed || !safety->selftest_done) {
        safety->selftest_failed = true;
        core_trip(safety, SAFETY_SELFTEST_FAILED, 0, now_ms);
    } else if (safety->latch != SAFETY_NONE) {
        core_change(safety, CORE_TRIP, now_ms);
    } else {
        core_change(safety, CORE_TESTED, now_ms);
    }
    core_settle(safety, now_ms);
}

static void watch_mirror(struct safety *safety, uint32_t now_ms)
{
    if (safety->mirror_due && safety_is_over(now_ms, safety->mirror_ms, SAFETY_MIRROR_MS)) {
        bool is_in = (safety->inputs & SAFETY_IN_CONTACTOR) != 0u;
        safety->mirror_due = false;
        if (is_in != safety->contactor) {
            core_trip(safety, SAFETY_MIRROR, 0, now_ms);
        }
    }
}

static void watch_host(struct safety *safety, uint32_t now_ms)
{
    if (!safety->session || !safety_is_over(now_ms, safety->fed_ms, SAFETY_DISARM_MS)) {
        return;
    }
    if (safety->state == SAFETY_ARMED) {
        core_disarm(safety, SAFETY_EVENT_SILENCE, 0, true, now_ms);
    }
    if (safety_is_over(now_ms, safety->fed_ms, SAFETY_RELEASE_MS)) {
        safety->cut = true;
        core_end_heat(safety, now_ms);
        safety->session = false;
        safety->lingers = false;
        core_settle(safety, now_ms);
        core_say(safety, SAFETY_EVENT_RELEASED, 0);
    }
}

static void watch_heat(struct safety *safety, uint32_t now_ms)
{
    if (safety->press_used && safety_is_over(now_ms, safety->press_ms, SAFETY_HEAT_MS)) {
        safety->press_spent = true;
    }
    if (safety->heats == 0u) {
        return;
    }
    int16_t tenths = safety->tenths[safety->heats - 1u];
    if (safety->press_spent || tenths >= SAFETY_HEAT_MOST ||
        safety_is_over(now_ms, safety->heat_ms, safety->heat_expiry_ms)) {
        core_end_heat(safety, now_ms);
    } else if (safety_is_over(now_ms, safety->rise_ms, SAFETY_HEAT_RISE_MS)) {
        int16_t risen = (int16_t)(tenths - safety->rise_tenths);
        safety->rise_ms = now_ms;
        safety->rise_tenths = tenths;
        if (risen < SAFETY_HEAT_RISE) {
            core_trip(safety, SAFETY_NORISE, tenths, now_ms);
        }
    }
}

static void watch_press(struct safety *safety, uint32_t now_ms)
{
    if (safety->charged && safety_is_over(now_ms, safety->charge_ms, SAFETY_CHARGE_MS)) {
        safety->window = false;
        safety->charged = false;
    }
    if ((safety->inputs & SAFETY_IN_OPEN) != 0u && !safety->open_too_long &&
        safety_is_over(now_ms, safety->open_ms, SAFETY_OPEN_MS)) {
        safety->open_too_long = true;
        if (safety->state == SAFETY_ARMED) {
            core_say(safety, SAFETY_EVENT_OPENOFF, safety_hottest(safety));
        }
    }
    watch_heat(safety, now_ms);
    if (safety->state == SAFETY_ARMED &&
        safety_is_over(now_ms, safety->present_ms,
                       SAFETY_PRESENCE_MS + SAFETY_PRESENCE_WARNING_MS)) {
        core_disarm(safety, SAFETY_EVENT_PRESENCE, 0, false, now_ms);
    }
}

void safety_pass(struct safety *safety, bool sensors_good, uint32_t now_ms)
{
    core_open(safety, now_ms);
    safety->sensors_good = sensors_good;
    if (core_is_testing(safety)) {
        finish_selftest(safety, now_ms);
    } else {
        watch_mirror(safety, now_ms);
        watch_host(safety, now_ms);
        watch_press(safety, now_ms);
        core_settle(safety, now_ms);
    }
    core_close(safety);
}

void safety_read(struct safety *safety, const struct rules_half half[SAFETY_HALVES],
                 bool sensors_good, uint32_t now_ms)
{
    core_open(safety, now_ms);
    safety->sensors_good = sensors_good;
    for (uint8_t each = 0; each < safety->halves; each++) {
        safety->tenths[each] = half[each].tenths;
    }
    if (core_is_testing(safety) || safety->state == SAFETY_TRIPPED) {
        rules_age(&safety->rules);
    } else {
        const struct rules_around around = {
            .trip = safety_trip(safety),
            .armed = safety->state == SAFETY_ARMED,
            .closed = (safety->inputs & SAFETY_IN_OPEN) == 0u,
            .contactor = (safety->inputs & SAFETY_IN_CONTACTOR) != 0u,
            .window = safety->window,
        };
        struct rules_verdict verdict = rules_judge(&safety->rules, half, &around);
        int16_t tenths = half[verdict.half].tenths;
        if (verdict.trip != SAFETY_NONE) {
            core_trip(safety, verdict.trip, tenths, now_ms);
        } else if (verdict.fall) {
            safety->fallen = true;
            core_say(safety, SAFETY_EVENT_FALL, tenths);
        } else if (verdict.full) {
            core_disarm(safety, SAFETY_EVENT_FULL, tenths, false, now_ms);
        }
        core_settle(safety, now_ms);
    }
    core_close(safety);
}
