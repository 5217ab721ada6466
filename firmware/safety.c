#include "core.h"

/*@ requires \valid(left);
    assigns *left;
    ensures \old(*left) == 0 ==> *left == 0;
    ensures \old(*left) > 0 ==> *left == \old(*left) - 1;
    ensures \result <==> \old(*left) == 1; */
bool safety_runs_out(uint16_t *left)
{
    if (*left == 0u) {
        return false;
    }
    *left = (uint16_t)(*left - 1u);
    return *left == 0u;
}

/*@ assigns \nothing;
    ensures latched != SAFETY_NONE ==> \result == latched;
    ensures latched == SAFETY_NONE ==> \result == found; */
enum safety_cause safety_first(enum safety_cause latched, enum safety_cause found)
{
    return latched != SAFETY_NONE ? latched : found;
}

/*@ requires \valid(over);
    assigns *over;
    ensures good && tenths < trip ==> *over == 0;
    ensures good && tenths >= trip ==> *over == (\old(*over) == 0 ? 1 : 2);
    ensures !good ==> *over == \old(*over);
    ensures \result <==> *over >= 2; */
bool safety_count_over(uint8_t *over, bool good, int16_t tenths, int16_t trip)
{
    if (good) {
        if (tenths < trip) {
            *over = 0;
        } else if (*over < 2u) {
            *over = (uint8_t)(*over + 1u);
        } else {
            *over = 2u;
        }
    }
    return *over >= 2u;
}

/*@ assigns \nothing;
    ensures \result == SAFETY_TRIP_TAKEN <==> SAFETY_TRIP_LEAST <= wanted <= SAFETY_CEILING &&
            (wanted <= present || (hand && !armed)); */
enum safety_trip_answer safety_judge_trip(int16_t present, int32_t wanted, bool armed, bool hand)
{
    if (wanted < SAFETY_TRIP_LEAST || wanted > SAFETY_CEILING) {
        return SAFETY_TRIP_RANGE;
    }
    if (wanted > present) {
        if (armed) {
            return SAFETY_TRIP_STATE;
        }
        if (!hand) {
            return SAFETY_TRIP_HAND;
        }
    }
    return SAFETY_TRIP_TAKEN;
}

/*@ requires \valid_read(safety);
    assigns \nothing;
    ensures SAFETY_TRIP_LEAST <= \result <= SAFETY_CEILING;
    ensures \result == safety->trip || \result == SAFETY_TRIP_LEAST;
    ensures safety->trip != (int16_t)~safety->trip_inverted ==> \result == SAFETY_TRIP_LEAST; */
int16_t safety_trip(const struct safety *safety)
{
    int16_t trip = safety->trip;
    bool sound = trip == (int16_t)~safety->trip_inverted && trip >= SAFETY_TRIP_LEAST &&
                 trip <= SAFETY_CEILING;
    return sound ? trip : SAFETY_TRIP_LEAST;
}

/*@ requires \valid_read(safety);
    assigns \nothing;
    ensures \result <= SAFETY_SETPOINT_MOST;
    ensures \result <= safety->trip - SAFETY_SETPOINT_BELOW_TRIP ||
            \result == SAFETY_TRIP_LEAST - SAFETY_SETPOINT_BELOW_TRIP; */
int16_t safety_setpoint_most(const struct safety *safety)
{
    int16_t most = (int16_t)(safety_trip(safety) - SAFETY_SETPOINT_BELOW_TRIP);
    return most < SAFETY_SETPOINT_MOST ? most : SAFETY_SETPOINT_MOST;
}

/*@ requires \valid(safety);
    assigns safety->said[0 .. SAFETY_SAID_MOST - 1], safety->said_count; */
void core_say(struct safety *safety, enum safety_event code, int16_t tenths)
{
    if (safety->said_count < SAFETY_SAID_MOST) {
        safety->said[safety->said_count].code = code;
        safety->said[safety->said_count].tenths = tenths;
        safety->said_count = (uint8_t)(safety->said_count + 1u);
    }
}

/*@ requires \valid_read(safety);
    assigns \nothing;
    ensures \result <==> safety->state == SAFETY_BOOT || safety->state == SAFETY_SELFTEST; */
bool core_is_testing(const struct safety *safety)
{
    return safety->state == SAFETY_BOOT || safety->state == SAFETY_SELFTEST;
}

/*@ requires \valid_read(safety); assigns \nothing;
    ensures \result == safety->tenths[0] || \result == safety->tenths[1]; */
int16_t safety_hottest(const struct safety *safety)
{
    int16_t upper = safety->tenths[SAFETY_UPPER];
    int16_t lower = safety->tenths[SAFETY_LOWER];
    return safety->halves > 1u && lower > upper ? lower : upper;
}

/*@ requires \valid_read(safety);
    assigns \nothing;
    ensures \result == SAFETY_WHY_NONE ==> safety->latch == SAFETY_NONE && safety->session &&
            safety->sensors_good && safety->mould_known && lets_heat(safety);
    ensures \result == SAFETY_WHY_MOULD ==> safety->latch == SAFETY_NONE;
    ensures safety->latch != SAFETY_NONE ==> \result == SAFETY_WHY_LATCHED; */
enum safety_why safety_reason(const struct safety *safety)
{
    uint16_t inputs = safety->inputs;
    if (safety->latch != SAFETY_NONE) {
        return SAFETY_WHY_LATCHED;
    }
    if (core_is_testing(safety)) {
        return SAFETY_WHY_SELFTEST;
    }
    if (!safety->session) {
        return SAFETY_WHY_SESSION;
    }
    if (!safety->sensors_good) {
        return SAFETY_WHY_SENSOR;
    }
    if ((inputs & SAFETY_IN_MAINS) == 0u) {
        return SAFETY_WHY_MAINS;
    }
    if ((inputs & SAFETY_IN_BUTTON) != 0u) {
        return SAFETY_WHY_BUTTON;
    }
    if ((inputs & SAFETY_IN_THERMOSTAT) != 0u) {
        return SAFETY_WHY_THERMOSTAT;
    }
    /* Just released, the contact still has its 200 ms. */
    if ((inputs & SAFETY_IN_CONTACTOR) != 0u && !safety->contactor && safety->mirror == 0u) {
        return SAFETY_WHY_MIRROR;
    }
    return safety->mould_known ? SAFETY_WHY_NONE : SAFETY_WHY_MOULD;
}

/*@ assigns \nothing;
    ensures \result == SAFETY_ARMED ==>
            state == SAFETY_ARMED || (state == SAFETY_READY && move == CORE_ARM);
    ensures state == SAFETY_READY && move == CORE_ARM ==> \result == SAFETY_ARMED;
    ensures state == SAFETY_ARMED && \result == SAFETY_ARMED ==>
            move != CORE_DISARM && move != CORE_NOT_CLEAR;
    ensures move == CORE_TRIP ==> \result == SAFETY_TRIPPED;
    ensures state == SAFETY_TRIPPED && move != CORE_RESET ==> \result == SAFETY_TRIPPED; */
static enum safety_state after(enum safety_state state, enum core_move move)
{
    switch (state) {
    case SAFETY_BOOT:
        if (move == CORE_TRIP) {
            return SAFETY_TRIPPED;
        }
        return move == CORE_STARTED ? SAFETY_SELFTEST : state;
    case SAFETY_SELFTEST:
        if (move == CORE_TRIP) {
            return SAFETY_TRIPPED;
        }
        return move == CORE_TESTED ? SAFETY_LOCKED : state;
    case SAFETY_LOCKED:
        if (move == CORE_TRIP) {
            return SAFETY_TRIPPED;
        }
        return move == CORE_CLEAR ? SAFETY_READY : state;
    case SAFETY_READY:
        if (move == CORE_TRIP) {
            return SAFETY_TRIPPED;
        }
        if (move == CORE_NOT_CLEAR) {
            return SAFETY_LOCKED;
        }
        return move == CORE_ARM ? SAFETY_ARMED : state;
    case SAFETY_ARMED:
        if (move == CORE_TRIP) {
            return SAFETY_TRIPPED;
        }
        if (move == CORE_NOT_CLEAR) {
            return SAFETY_LOCKED;
        }
        return move == CORE_DISARM ? SAFETY_READY : state;
    case SAFETY_TRIPPED:
        return move == CORE_RESET ? SAFETY_LOCKED : state;
    case SAFETY_STATES:
    default:
        return SAFETY_TRIPPED;
    }
}

/* The only writer of the state. */
/*@ requires \valid(safety);
    assigns safety->state, safety->cut, safety->fallen, safety->lingers, safety->present,
            safety->said[0 .. SAFETY_SAID_MOST - 1], safety->said_count,
            safety->rules.watch[0 .. SAFETY_HALVES - 1], safety->rules.is_near,
            safety->rules.apart;
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED ||
            (\old(safety->state) == SAFETY_READY && move == CORE_ARM);
    ensures \old(safety->state) == SAFETY_READY && move == CORE_ARM ==>
            safety->state == SAFETY_ARMED;
    ensures move == CORE_DISARM || move == CORE_NOT_CLEAR ==> safety->state != SAFETY_ARMED;
    ensures move == CORE_TRIP ==> safety->state == SAFETY_TRIPPED;
    ensures \old(safety->state) == SAFETY_TRIPPED && move != CORE_RESET ==>
            safety->state == SAFETY_TRIPPED;
    ensures \old(safety->state) == SAFETY_ARMED && safety->state != SAFETY_ARMED ==> safety->cut;
    ensures \old(safety->cut) ==> safety->cut;
    ensures safety->lingers ==> \old(safety->lingers); */
void core_change(struct safety *safety, enum core_move move)
{
    enum safety_state before = safety->state;
    safety->state = after(before, move);
    if (safety->state == before) {
        return;
    }
    if (before == SAFETY_ARMED || safety->state == SAFETY_TRIPPED) {
        safety->cut = true;
    }
    if (safety->state == SAFETY_ARMED) {
        safety->fallen = false;
        safety->lingers = 0;
        rules_arm(&safety->rules);
        safety->present = SAFETY_PRESENCE_TIME;
        core_say(safety, SAFETY_EVENT_ARMED, 0);
    } else if (safety->state != SAFETY_READY) {
        safety->lingers = 0;
    }
}

/*@ requires \valid(safety);
    assigns safety->contactor, safety->mirror;
    ensures safety->contactor <==>
            safety->state == SAFETY_ARMED || safety->lingers || safety->heats != 0; */
void core_drive_contactor(struct safety *safety)
{
    bool wanted = safety->state == SAFETY_ARMED || safety->lingers != 0u || safety->heats != 0u;
    if (wanted != safety->contactor) {
        safety->contactor = wanted;
        safety->mirror = SAFETY_MIRROR_STEPS;
    }
}

/*@ requires \valid_read(safety);
    assigns \nothing;
    ensures \result ==> safety->state == SAFETY_READY ||
            (safety->state == SAFETY_LOCKED && safety->latch == SAFETY_NONE); */
bool core_may_heat(const struct safety *safety)
{
    return !safety_holds(safety) &&
           (safety->state == SAFETY_READY ||
            (safety->state == SAFETY_LOCKED && safety_reason(safety) == SAFETY_WHY_MOULD));
}

/*@ requires \valid(safety);
    assigns safety->cut, safety->heats, safety->contactor, safety->mirror;
    ensures safety->heats == 0;
    ensures \old(safety->cut) || \old(safety->heats) != 0 ==> safety->cut; */
void core_end_heat(struct safety *safety)
{
    if (safety->heats != 0u) {
        safety->cut = true;
        safety->heats = 0;
        core_drive_contactor(safety);
    }
}

/* Everything off; the first cause is kept. */
/*@ requires \valid(safety);
    assigns safety->state, safety->cut, safety->fallen, safety->lingers, safety->present,
            safety->said[0 .. SAFETY_SAID_MOST - 1], safety->said_count,
            safety->rules.watch[0 .. SAFETY_HALVES - 1], safety->rules.is_near,
            safety->rules.apart, safety->heats, safety->latch, safety->contactor, safety->mirror;
    ensures \old(safety->latch) != SAFETY_NONE ==> safety->latch == \old(safety->latch);
    ensures \old(safety->latch) == SAFETY_NONE ==> safety->latch == cause;
    ensures safety->state == SAFETY_TRIPPED;
    ensures safety->cut && safety->heats == 0 && !safety->lingers && !safety->contactor; */
void core_trip(struct safety *safety, enum safety_cause cause, int16_t tenths)
{
    bool is_first = safety->latch == SAFETY_NONE;
    safety->cut = true;
    safety->heats = 0;
    safety->lingers = 0;
    safety->latch = safety_first(safety->latch, cause);
    core_change(safety, CORE_TRIP);
    if (is_first) {
        core_say(safety, SAFETY_EVENT_TRIP, tenths);
    }
    core_drive_contactor(safety);
}

/*@ requires \valid(safety);
    assigns safety->state, safety->cut, safety->fallen, safety->lingers, safety->present,
            safety->said[0 .. SAFETY_SAID_MOST - 1], safety->said_count,
            safety->rules.watch[0 .. SAFETY_HALVES - 1], safety->rules.is_near,
            safety->rules.apart, safety->contactor, safety->mirror;
    ensures safety->cut && safety->state != SAFETY_ARMED;
    ensures safety->contactor <==> safety->lingers || safety->heats != 0;
    ensures safety->lingers ==> \old(safety->lingers) || lingers; */
void core_disarm(struct safety *safety, enum safety_event code, int16_t tenths, bool lingers)
{
    safety->cut = true;
    if (safety->state == SAFETY_ARMED) {
        safety->lingers = lingers ? SAFETY_LINGER_TIME : 0u;
        core_change(safety, CORE_DISARM);
        core_say(safety, code, tenths);
    }
    core_drive_contactor(safety);
}

/* Lets state and contactor follow from the conditions as they stand. */
/*@ requires \valid(safety);
    assigns safety->state, safety->cut, safety->fallen, safety->lingers, safety->present,
            safety->said[0 .. SAFETY_SAID_MOST - 1], safety->said_count,
            safety->rules.watch[0 .. SAFETY_HALVES - 1], safety->rules.is_near,
            safety->rules.apart, safety->heats, safety->latch, safety->contactor, safety->mirror;
    ensures \old(safety->latch) != SAFETY_NONE ==> safety->latch == \old(safety->latch);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED &&
            safety->latch == SAFETY_NONE && safety->session && safety->sensors_good &&
            safety->mould_known && lets_heat(safety);
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats);
    ensures safety->heats != 0 ==> safety->state == SAFETY_READY ||
            (safety->state == SAFETY_LOCKED && safety->latch == SAFETY_NONE);
    ensures safety->lingers ==> \old(safety->lingers);
    ensures safety->contactor <==>
            safety->state == SAFETY_ARMED || safety->lingers || safety->heats != 0;
    ensures \old(safety->cut) ==> safety->cut; */
void core_settle(struct safety *safety)
{
    enum safety_why reason = safety_reason(safety);
    if (reason != SAFETY_WHY_NONE && safety->state == SAFETY_ARMED) {
        if (reason == SAFETY_WHY_SENSOR) {
            core_trip(safety, SAFETY_SENSOR, safety_hottest(safety));
            return;
        }
        if (reason == SAFETY_WHY_MAINS) {
            core_say(safety, SAFETY_EVENT_MAINS, safety_hottest(safety));
        } else if (reason == SAFETY_WHY_BUTTON) {
            core_say(safety, SAFETY_EVENT_DISARMED, safety_hottest(safety));
        }
    }
    core_change(safety, reason == SAFETY_WHY_NONE ? CORE_CLEAR : CORE_NOT_CLEAR);
    if (!core_may_heat(safety)) {
        core_end_heat(safety);
    }
    core_drive_contactor(safety);
}
