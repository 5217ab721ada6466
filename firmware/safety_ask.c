#include "safety.h"

void safety_open_session(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    safety->cut = true;
    safety->session = true;
    safety->fed_ms = now_ms;
    core_settle(safety, now_ms);
    core_close(safety);
}

void safety_close_session(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    core_end_heat(safety, now_ms);
    core_disarm(safety, SAFETY_EVENT_DISARMED, 0, false, now_ms);
    safety->session = false;
    safety->lingers = false;
    core_settle(safety, now_ms);
    core_close(safety);
}

bool safety_take_duty(struct safety *safety, bool heats, uint32_t now_ms)
{
    core_open(safety, now_ms);
    bool taken = safety->session && (!heats || safety->state == SAFETY_ARMED);
    if (taken) {
        safety->fed_ms = now_ms;
    }
    core_close(safety);
    return taken;
}

bool safety_arm(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    core_settle(safety, now_ms);
    bool armed = safety->state == SAFETY_READY;
    if (armed) {
        core_change(safety, CORE_ARM, now_ms);
        core_drive_contactor(safety, now_ms);
    }
    core_close(safety);
    return armed;
}

void safety_disarm(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    core_end_heat(safety, now_ms);
    core_disarm(safety, SAFETY_EVENT_DISARMED, 0, false, now_ms);
    core_close(safety);
}

void safety_refuse_arm(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    core_say(safety, SAFETY_EVENT_REFARM, 0);
    core_close(safety);
}

enum safety_charge_answer safety_charge(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    enum safety_charge_answer answer = SAFETY_CHARGE_TAKEN;
    if (safety->state != SAFETY_ARMED) {
        answer = SAFETY_CHARGE_STATE;
    } else if (safety->charged && !safety_is_over(now_ms, safety->charge_ms, SAFETY_CHARGE_MS)) {
        answer = SAFETY_CHARGE_RATE;
    } else {
        safety->window = true;
        safety->charged = true;
        safety->charge_ms = now_ms;
        safety->fallen = false;
        rules_charge(&safety->rules, safety->tenths);
        core_say(safety, SAFETY_EVENT_CHARGE, safety_hottest(safety));
    }
    core_close(safety);
    return answer;
}

enum safety_trip_answer safety_set_trip(struct safety *safety, int32_t wanted, bool hand,
                                        uint32_t now_ms)
{
    core_open(safety, now_ms);
    enum safety_trip_answer answer =
        safety_judge_trip(safety_trip(safety), wanted, safety->state == SAFETY_ARMED, hand);
    if (answer == SAFETY_TRIP_TAKEN) {
        safety->trip = (int16_t)wanted;
        safety->trip_inverted = (int16_t)~safety->trip;
        core_say(safety, SAFETY_EVENT_TRIPSET, safety->trip);
    }
    core_close(safety);
    return answer;
}

void safety_set_mould(struct safety *safety, const struct rules_mould mould[SAFETY_HALVES],
                      enum safety_event code, uint32_t now_ms)
{
    core_open(safety, now_ms);
    rules_set_mould(&safety->rules, mould);
    safety->mould_known = rules_know_mould(&safety->rules);
    core_settle(safety, now_ms);
    core_say(safety, code, 0);
    core_close(safety);
}

enum safety_heat_answer safety_heat(struct safety *safety, uint8_t half, uint16_t expiry_ms,
                                    bool hand, uint32_t now_ms)
{
    core_open(safety, now_ms);
    enum safety_heat_answer answer = SAFETY_HEAT_TAKEN;
    if (half >= safety->halves || safety->tenths[half] >= SAFETY_HEAT_MOST) {
        answer = SAFETY_HEAT_LIMIT;
    } else if (!core_may_heat(safety) || safety->press_spent) {
        answer = SAFETY_HEAT_STATE;
    } else if (!hand) {
        answer = SAFETY_HEAT_HAND;
    } else {
        if (safety->heats != half + 1u) {
            safety->heats = (uint8_t)(half + 1u);
            safety->rise_ms = now_ms;
            safety->rise_tenths = safety->tenths[half];
            core_say(safety, SAFETY_EVENT_COMM, safety->tenths[half]);
        }
        if (!safety->press_used) {
            safety->press_used = true;
            safety->press_ms = now_ms;
        }
        safety->heat_ms = now_ms;
        safety->heat_expiry_ms =
            expiry_ms < SAFETY_EXPIRY_MOST_MS ? expiry_ms : (uint16_t)SAFETY_EXPIRY_MOST_MS;
        core_settle(safety, now_ms);
    }
    core_close(safety);
    return answer;
}

/* The cause is gone, everything is cool and off. */
static bool may_reset(const struct safety *safety, bool idle)
{
    if (!safety->sensors_good || !idle ||
        safety_hottest(safety) > safety_trip(safety) - SAFETY_RESET_BELOW_TRIP) {
        return false;
    }
    if (safety->latch == SAFETY_CHAIN) {
        return (safety->inputs & SAFETY_IN_THERMOSTAT) == 0u;
    }
    if (safety->latch == SAFETY_MIRROR) {
        return (safety->inputs & SAFETY_IN_CONTACTOR) == 0u;
    }
    return safety->latch != SAFETY_SELFTEST_FAILED || !safety->selftest_failed;
}

void safety_release_arm(struct safety *safety, bool asks_reset, bool idle, uint32_t now_ms)
{
    core_open(safety, now_ms);
    if (asks_reset && safety->state == SAFETY_TRIPPED && may_reset(safety, idle)) {
        safety->latch = SAFETY_NONE;
        core_change(safety, CORE_RESET, now_ms);
        core_say(safety, SAFETY_EVENT_RESET, 0);
    }
    core_end_heat(safety, now_ms);
    safety->press_used = false;
    safety->press_spent = false;
    core_settle(safety, now_ms);
    core_close(safety);
}

bool safety_take_said(struct safety *safety, struct safety_said *said)
{
    if (safety->said_count == 0u || !safety_is_intact(safety)) {
        return false;
    }
    *said = safety->said[0];
    safety->said_count = (uint8_t)(safety->said_count - 1u);
    for (uint8_t at = 0; at < safety->said_count; at++) {
        safety->said[at] = safety->said[at + 1u];
    }
    core_close(safety);
    return true;
}

void safety_confirm_cut(struct safety *safety, uint32_t now_ms)
{
    core_open(safety, now_ms);
    safety->cut = false;
    core_close(safety);
}

bool safety_holds(const struct safety *safety)
{
    return safety->fallen || safety->open_too_long;
}

bool safety_is_silent(const struct safety *safety, uint32_t now_ms)
{
    return !safety->session || safety_is_over(now_ms, safety->fed_ms, SAFETY_DISARM_MS);
}

bool safety_permits(const struct safety *safety)
{
    return safety->state == SAFETY_ARMED || (safety->heats != 0u && core_may_heat(safety));
}

bool safety_is_hot(const struct safety *safety)
{
    return !safety->sensors_good || core_is_testing(safety) || safety_hottest(safety) > SAFETY_HOT;
}

bool safety_alarms(const struct safety *safety, uint32_t now_ms)
{
    return safety->state == SAFETY_TRIPPED ||
           (safety->state == SAFETY_ARMED &&
            safety_is_over(now_ms, safety->present_ms, SAFETY_PRESENCE_MS));
}

static uint16_t seconds_left(uint32_t now_ms, uint32_t since_ms, uint32_t span_ms)
{
    uint32_t age_ms = now_ms - since_ms;
    return age_ms < span_ms ? (uint16_t)((span_ms - age_ms + 999u) / 1000u) : 0u;
}

uint8_t safety_window_left_s(const struct safety *safety, uint32_t now_ms)
{
    return safety->window ? (uint8_t)seconds_left(now_ms, safety->charge_ms, SAFETY_CHARGE_MS) : 0u;
}

uint16_t safety_presence_left_s(const struct safety *safety, uint32_t now_ms)
{
    return safety->state == SAFETY_ARMED
               ? seconds_left(now_ms, safety->present_ms,
                              SAFETY_PRESENCE_MS + SAFETY_PRESENCE_WARNING_MS)
               : 0u;
}
