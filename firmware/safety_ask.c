#include "core.h"

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety); */
void safety_open_session(struct safety *safety)
{
    core_open(safety);
    safety->cut = true;
    safety->session = true;
    safety->silent = 0;
    core_settle(safety);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->state != SAFETY_ARMED && safety->heats == 0 && !safety->contactor; */
void safety_close_session(struct safety *safety)
{
    core_open(safety);
    core_end_heat(safety);
    core_disarm(safety, SAFETY_EVENT_DISARMED, 0, false);
    safety->session = false;
    safety->lingers = 0;
    core_settle(safety);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures \result && heats ==> safety->state == SAFETY_ARMED; */
bool safety_take_duty(struct safety *safety, bool heats)
{
    core_open(safety);
    bool taken = safety->session && (!heats || safety->state == SAFETY_ARMED);
    if (taken) {
        safety->silent = 0;
    }
    core_close(safety);
    return taken;
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures \result ==> safety->state == SAFETY_ARMED;
    ensures safety->state == SAFETY_ARMED && !\result ==> \old(safety->state) == SAFETY_ARMED; */
bool safety_arm(struct safety *safety)
{
    core_open(safety);
    core_settle(safety);
    bool armed = safety->state == SAFETY_READY;
    if (armed) {
        core_change(safety, CORE_ARM);
        core_drive_contactor(safety);
    }
    core_close(safety);
    return armed;
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures safety->cut && safety->state != SAFETY_ARMED && !safety->contactor; */
void safety_disarm(struct safety *safety)
{
    core_open(safety);
    core_end_heat(safety);
    safety->lingers = 0;
    core_disarm(safety, SAFETY_EVENT_DISARMED, 0, false);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety); */
void safety_refuse_arm(struct safety *safety)
{
    core_open(safety);
    core_say(safety, SAFETY_EVENT_REFARM, 0);
    core_close(safety);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety); */
enum safety_charge_answer safety_charge(struct safety *safety)
{
    core_open(safety);
    enum safety_charge_answer answer = SAFETY_CHARGE_TAKEN;
    if (safety->state != SAFETY_ARMED) {
        answer = SAFETY_CHARGE_STATE;
    } else if (safety->charge != 0u) {
        answer = SAFETY_CHARGE_RATE;
    } else {
        safety->window = true;
        safety->charge = SAFETY_CHARGE_TIME;
        safety->fallen = false;
        rules_charge(&safety->rules, safety->tenths);
        core_say(safety, SAFETY_EVENT_CHARGE, safety_hottest(safety));
    }
    core_close(safety);
    return answer;
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures \result == SAFETY_TRIP_TAKEN ==> SAFETY_TRIP_LEAST <= wanted <= SAFETY_CEILING &&
            safety->trip == wanted && safety->trip_inverted == (int16_t)~safety->trip;
    ensures \result != SAFETY_TRIP_TAKEN ==> safety->trip == \old(safety->trip);
    ensures !hand ==> safety->trip <= \old(safety->trip) || safety->trip == SAFETY_TRIP_LEAST; */
enum safety_trip_answer safety_set_trip(struct safety *safety, int32_t wanted, bool hand)
{
    core_open(safety);
    int16_t present = safety_trip(safety);
    enum safety_trip_answer answer =
        safety_judge_trip(present, wanted, safety->state == SAFETY_ARMED, hand);
    if (answer == SAFETY_TRIP_TAKEN) {
        safety->trip = (int16_t)wanted;
        safety->trip_inverted = (int16_t)~safety->trip;
        if (wanted != present) {
            core_say(safety, SAFETY_EVENT_TRIPSET, safety->trip);
        }
    }
    core_close(safety);
    return answer;
}

/*@ requires \valid(safety) && \valid_read(mould + (0 .. SAFETY_HALVES - 1));
    requires \separated(safety, mould + (0 .. SAFETY_HALVES - 1));
    assigns *safety;
    ensures kept{Pre, Post}(safety); */
void safety_set_mould(struct safety *safety, const struct rules_mould mould[SAFETY_HALVES],
                      enum safety_event code)
{
    core_open(safety);
    rules_set_mould(&safety->rules, mould);
    safety->mould_known = rules_know_mould(&safety->rules);
    core_settle(safety);
    core_say(safety, code, 0);
    core_close(safety);
}

/*@ requires \valid(safety) && 1 <= safety->halves <= SAFETY_HALVES;
    assigns *safety;
    ensures kept{Pre, Post}(safety);
    ensures \result == SAFETY_HEAT_TAKEN ==> hand;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats) ||
            (hand && safety->heats == half + 1); */
enum safety_heat_answer safety_heat(struct safety *safety, uint8_t half, uint16_t expiry_ms,
                                    bool hand)
{
    core_open(safety);
    enum safety_heat_answer answer = SAFETY_HEAT_TAKEN;
    if (half >= safety->halves || safety->tenths[half] >= SAFETY_HEAT_MOST) {
        answer = SAFETY_HEAT_LIMIT;
    } else if (!core_may_heat(safety) || safety->press_left == 0u) {
        answer = SAFETY_HEAT_STATE;
    } else if (!hand) {
        answer = SAFETY_HEAT_HAND;
    } else {
        safety->heats = (uint8_t)(half + 1u);
        if (safety->rise_left[half] == 0u) {
            safety->rise_left[half] = SAFETY_HEAT_RISE_TIME;
            safety->rise_tenths[half] = safety->tenths[half];
            core_say(safety, SAFETY_EVENT_COMM, safety->tenths[half]);
        }
        if (safety->press_left == SAFETY_HEAT_TIME) {
            safety->press_left = SAFETY_HEAT_TIME - 1u; /* from now on it counts */
        }
        safety->heat_left = (uint8_t)(SAFETY_PASSES(
            expiry_ms < SAFETY_EXPIRY_MOST_MS ? expiry_ms : SAFETY_EXPIRY_MOST_MS));
        core_settle(safety);
    }
    core_close(safety);
    return answer;
}

/* The cause is gone, everything is cool and off. */
/*@ requires \valid_read(safety); assigns \nothing;
    ensures \result ==> !safety->selftest_failed && safety->sensors_good && idle; */
static bool may_reset(const struct safety *safety, bool idle)
{
    if (safety->selftest_failed || !safety->sensors_good || !idle ||
        safety_hottest(safety) > safety_trip(safety) - SAFETY_RESET_BELOW_TRIP) {
        return false;
    }
    if (safety->latch == SAFETY_CHAIN) {
        return (safety->inputs & SAFETY_IN_THERMOSTAT) == 0u;
    }
    if (safety->latch == SAFETY_MIRROR) {
        return (safety->inputs & SAFETY_IN_CONTACTOR) == 0u;
    }
    return true;
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures safety->heats == 0;
    ensures !(asks_reset && idle) ==> kept{Pre, Post}(safety);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED; */
void safety_release_arm(struct safety *safety, bool asks_reset, bool idle)
{
    core_open(safety);
    if (asks_reset && safety->state == SAFETY_TRIPPED && may_reset(safety, idle)) {
        safety->latch = SAFETY_NONE;
        core_change(safety, CORE_RESET);
        core_say(safety, SAFETY_EVENT_RESET, 0);
    }
    core_end_heat(safety);
    safety->rise_left[SAFETY_UPPER] = 0;
    safety->rise_left[SAFETY_LOWER] = 0;
    safety->press_left = SAFETY_HEAT_TIME;
    core_settle(safety);
    core_close(safety);
}

/*@ requires \valid(safety) && safety->said_count <= SAFETY_SAID_MOST;
    requires \valid(said) && \separated(safety, said);
    assigns *safety, *said;
    ensures kept{Pre, Post}(safety); */
bool safety_take_said(struct safety *safety, struct safety_said *said)
{
    if (safety->said_count == 0u || !safety_is_intact(safety)) {
        return false;
    }
    *said = safety->said[0];
    safety->said_count = (uint8_t)(safety->said_count - 1u);
    /*@ loop invariant 0 <= at <= safety->said_count;
        loop assigns at, safety->said[0 .. SAFETY_SAID_MOST - 1];
        loop variant safety->said_count - at; */
    for (uint8_t at = 0; at < safety->said_count; at++) {
        safety->said[at] = safety->said[at + 1u];
    }
    core_close(safety);
    return true;
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety); */
void safety_confirm_cut(struct safety *safety)
{
    core_open(safety);
    safety->cut = false;
    core_close(safety);
}

/*@ requires \valid_read(safety); assigns \nothing; */
bool safety_holds(const struct safety *safety)
{
    return safety->fallen || safety->open_too_long;
}

/*@ requires \valid_read(safety); assigns \nothing; */
bool safety_is_silent(const struct safety *safety)
{
    return !safety->session || safety->silent >= SAFETY_DISARM_TIME;
}

/*@ requires \valid_read(safety); assigns \nothing;
    ensures \result ==> safety->state == SAFETY_ARMED || safety->heats != 0; */
bool safety_permits(const struct safety *safety)
{
    return safety->state == SAFETY_ARMED || (safety->heats != 0u && core_may_heat(safety));
}

/*@ requires \valid_read(safety); assigns \nothing; */
bool safety_is_hot(const struct safety *safety)
{
    return !safety->sensors_good || core_is_testing(safety) || safety_hottest(safety) > SAFETY_HOT;
}

/*@ requires \valid_read(safety); assigns \nothing; */
bool safety_alarms(const struct safety *safety)
{
    return safety->state == SAFETY_TRIPPED ||
           (safety->state == SAFETY_ARMED && safety->present <= SAFETY_PRESENCE_WARNING_TIME);
}

/*@ assigns \nothing; */
static uint16_t seconds(uint16_t passes)
{
    const uint16_t a_second = SAFETY_PASSES(1000u);
    return (uint16_t)((passes + a_second - 1u) / a_second);
}

/*@ requires \valid_read(safety); assigns \nothing; */
uint8_t safety_window_left_s(const struct safety *safety)
{
    return safety->window ? (uint8_t)seconds(safety->charge) : 0u;
}

/*@ requires \valid_read(safety); assigns \nothing; */
uint16_t safety_presence_left_s(const struct safety *safety)
{
    return safety->state == SAFETY_ARMED ? seconds(safety->present) : 0u;
}
