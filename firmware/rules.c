#include "core.h"

/* Temperatures in tenths of a degree, times in reads of 200 ms. */
#define RISE_LEAST 150 /* in 5 s: 3 K/s */
#define FALL 50        /* in 5 s */
#define FALLS 3000u    /* 10 min */
#define HARD_DUTY 800u
#define HARD_LEAST 100u /* 20 s */
#define HARD_BELOW 200
#define STUCK_DUTY 200u
#define STUCK 450u       /* 90 s */
#define COAST_LEAST 300u /* 60 s */
#define WELDED 300u      /* 60 s */
#define WELDED_RISE 50
#define WELDED_COOLER 10
#define FULL_DUTY 950u
#define FULL_LEAST_S 400u /* of the heat-up time: 10 min / 1.5 */
#define FULL_MOST_S 2400u
#define FULL_DEFAULT_S 800u
#define NEAR 400
#define APART 300
#define APART_READS 50u /* 10 s */

#define NO_REGISTER 0xFFFFFFFFu /* all ones is never a good reading */

/*@ requires \valid(rules);
    assigns *rules;
    ensures rules->halves == halves; */
void rules_start(struct rules *rules, uint8_t halves)
{
    *rules = (struct rules){0};
    rules->halves = halves;
    rules_arm(rules);
}

/*@ requires \valid(rules) && \valid_read(mould + (0 .. SAFETY_HALVES - 1));
    requires \separated(rules, mould + (0 .. SAFETY_HALVES - 1));
    assigns rules->watch[0 .. SAFETY_HALVES - 1]; */
void rules_set_mould(struct rules *rules, const struct rules_mould mould[SAFETY_HALVES])
{
    /*@ loop invariant 0 <= index <= SAFETY_HALVES;
        loop assigns index, rules->watch[0 .. SAFETY_HALVES - 1];
        loop variant SAFETY_HALVES - index; */
    for (uint8_t index = 0; index < SAFETY_HALVES; index++) {
        rules->watch[index].mould = mould[index];
    }
}

/*@ requires \valid_read(rules);
    assigns \nothing; */
bool rules_know_mould(const struct rules *rules)
{
    /*@ loop invariant 0 <= index <= rules->halves;
        loop assigns index;
        loop variant rules->halves - index; */
    for (uint8_t index = 0; index < rules->halves; index++) {
        if (rules->watch[index].mould.rise == 0u) {
            return false;
        }
    }
    return true;
}

/*@ requires \valid(rules);
    assigns rules->watch[0 .. SAFETY_HALVES - 1], rules->is_near, rules->apart; */
void rules_arm(struct rules *rules)
{
    /*@ loop invariant 0 <= index <= SAFETY_HALVES;
        loop assigns index, rules->watch[0 .. SAFETY_HALVES - 1];
        loop variant SAFETY_HALVES - index; */
    for (uint8_t index = 0; index < SAFETY_HALVES; index++) {
        struct rules_watch *watch = &rules->watch[index];
        watch->kept = 0;
        watch->next = 0;
        watch->calm = 0;
        watch->hard = 0;
        watch->climbs = false;
        watch->raw = NO_REGISTER;
        watch->full_ms = 0;
    }
    rules->is_near = false;
    rules->apart = 0;
}

/*@ requires \valid(rules) && \valid_read(tenths + (0 .. SAFETY_HALVES - 1));
    requires \separated(rules->watch + (0 .. SAFETY_HALVES - 1), tenths + (0 .. SAFETY_HALVES - 1));
    assigns rules->watch[0 .. SAFETY_HALVES - 1]; */
void rules_charge(struct rules *rules, const int16_t tenths[SAFETY_HALVES])
{
    /*@ loop invariant 0 <= index <= SAFETY_HALVES;
        loop assigns index, rules->watch[0 .. SAFETY_HALVES - 1];
        loop variant SAFETY_HALVES - index; */
    for (uint8_t index = 0; index < SAFETY_HALVES; index++) {
        rules->watch[index].charged = tenths[index];
    }
}

/*@ requires \valid(reads);
    assigns *reads;
    ensures \old(*reads) == 0 ==> *reads == 0;
    ensures \old(*reads) == UINT16_MAX ==> *reads == UINT16_MAX;
    ensures 0 < \old(*reads) < UINT16_MAX ==> *reads == \old(*reads) + 1; */
static void age(uint16_t *reads)
{
    if (*reads != 0u && *reads != UINT16_MAX) {
        (*reads)++;
    }
}

/*@ requires \valid(rules);
    assigns rules->watch[0 .. SAFETY_HALVES - 1], rules->apart, rules->fallen; */
static void pass_time(struct rules *rules)
{
    /*@ loop invariant 0 <= index <= SAFETY_HALVES;
        loop assigns index, rules->watch[0 .. SAFETY_HALVES - 1];
        loop variant SAFETY_HALVES - index; */
    for (uint8_t index = 0; index < SAFETY_HALVES; index++) {
        struct rules_watch *watch = &rules->watch[index];
        age(&watch->off);
        age(&watch->rested);
        age(&watch->same);
        age(&watch->hard);
        watch->pledged += watch->mould.rise;
    }
    age(&rules->apart);
    age(&rules->fallen);
}

/*@ requires \valid(rules);
    assigns rules->watch[0 .. SAFETY_HALVES - 1], rules->apart, rules->fallen; */
void rules_pause(struct rules *rules)
{
    pass_time(rules);
    rules->watch[SAFETY_UPPER].over = 0;
    rules->watch[SAFETY_LOWER].over = 0;
}

static bool heats_when_off(struct rules_watch *watch, const struct rules_half *half,
                           const struct rules_half *other, const struct rules_around *around)
{
    if (half->duty != 0u) {
        watch->off = 0;
    } else if (watch->off == 0u) {
        watch->off = 1;
    }
    /* Three lags: 100 ms each, 200 ms to a read. */
    uint16_t coast = (uint16_t)(watch->mould.lag * 3u / 2u);
    if (coast < COAST_LEAST) {
        coast = COAST_LEAST;
    }
    /* The hotter half may well warm the cooler one. */
    if (watch->off <= coast + 1u || !around->contactor || !around->closed || around->window ||
        half->tenths < other->tenths - WELDED_COOLER) {
        watch->rested = 0;
        return false;
    }
    if (watch->rested == 0u || watch->rested > WELDED + 1u) {
        watch->rested = 1;
        watch->rest = half->tenths;
    }
    return half->tenths - watch->rest >= WELDED_RISE;
}

static bool disagree(struct rules *rules, const struct rules_half half[SAFETY_HALVES], bool closed)
{
    int16_t upper = (int16_t)(half[SAFETY_UPPER].tenths - (int16_t)half[SAFETY_UPPER].setpoint);
    int16_t lower = (int16_t)(half[SAFETY_LOWER].tenths - (int16_t)half[SAFETY_LOWER].setpoint);
    int16_t apart = (int16_t)(upper - lower);
    if (rules->halves < SAFETY_HALVES || !closed || half[SAFETY_UPPER].setpoint == 0u ||
        half[SAFETY_LOWER].setpoint == 0u) {
        rules->apart = 0;
        return false;
    }
    if (upper >= -NEAR && upper <= NEAR && lower >= -NEAR && lower <= NEAR) {
        rules->is_near = true;
    }
    if (!rules->is_near || (apart <= APART && apart >= -APART)) {
        rules->apart = 0;
    } else if (rules->apart == 0u) {
        rules->apart = 1;
    }
    return rules->apart > APART_READS;
}

/* The window is the time for half of the way from setpoint to trip point at R: way * 50 000 / R in
 * ms, rounded down, compared here without the division. A quarter of R x window is then an eighth
 * of the way; in the shortest window, 20 s, it is R / 20. */
static bool does_not_rise(struct rules_watch *watch, const struct rules_half *half, int16_t trip)
{
    uint16_t rise = watch->mould.rise;
    if (half->duty < HARD_DUTY || rise == 0u) {
        watch->hard = 0;
        watch->climbs = false;
        return false;
    }
    if (watch->hard == 0u) {
        watch->hard = 1;
    }
    uint16_t way = 0;
    if (trip > (int16_t)half->setpoint) {
        way = (uint16_t)(trip - (int16_t)half->setpoint);
    }
    if (watch->climbs ? watch->hard <= HARD_LEAST || watch->pledged < (uint32_t)way * 250u
                      : watch->hard <= watch->mould.lag / 2u + 1u) {
        return false;
    }
    uint16_t due = (uint16_t)((rise + 19u) / 20u);
    uint16_t due_on_way = (uint16_t)((way + 7u) / 8u);
    if (due < due_on_way) {
        due = due_on_way;
    }
    bool fails = watch->climbs && half->tenths - watch->climb < (int16_t)due &&
                 half->tenths < (int16_t)half->setpoint - HARD_BELOW;
    watch->climbs = true;
    watch->climb = half->tenths;
    watch->hard = 1;
    watch->pledged = (uint16_t)((rise - 1u) / 200u);
    return fails;
}

static bool rises_too_fast(const struct rules_watch *watch, int16_t tenths)
{
    /* 2 R in mK/s over 5 s, in tenths. */
    int16_t most = (int16_t)(watch->mould.rise / 10u);
    if (most < RISE_LEAST) {
        most = RISE_LEAST;
    }
    return watch->kept == RULES_SPAN && tenths - watch->before[watch->next] > most;
}

/* Counts how far back the fall rule may look; returns whether that is far enough. */
static bool looks_back(struct rules_watch *watch, bool closed)
{
    if (!closed) {
        watch->calm = 0;
        return false;
    }
    if (watch->calm < RULES_SPAN) {
        watch->calm++;
        return false;
    }
    return true;
}

static bool falls(struct rules_watch *watch, int16_t tenths, const struct rules_around *around)
{
    return looks_back(watch, around->closed) && watch->before[watch->next] - tenths > FALL &&
           (!around->window || tenths < watch->charged - SAFETY_CHARGE_FALL);
}

static bool is_stuck(struct rules_watch *watch, const struct rules_half *half)
{
    if (half->raw != watch->raw || half->duty <= STUCK_DUTY) {
        watch->raw = half->raw;
        watch->same = 1;
    }
    return watch->same > STUCK;
}

static bool is_full_too_long(struct rules_watch *watch, const struct rules_half *half)
{
    if (half->taken < FULL_DUTY) {
        watch->full_ms = 0;
        return false;
    }
    uint16_t up_s = watch->mould.up;
    if (up_s == 0u) {
        up_s = FULL_DEFAULT_S;
    } else if (up_s < FULL_LEAST_S) {
        up_s = FULL_LEAST_S;
    } else if (up_s > FULL_MOST_S) {
        up_s = FULL_MOST_S;
    }
    watch->full_ms += (uint32_t)SAFETY_READ_MS * half->duty / half->taken;
    return watch->full_ms > (uint32_t)up_s * 1500u;
}

/* Lets the fall rule look back no further than now. */
static void look_forward(struct rules *rules)
{
    rules->watch[SAFETY_UPPER].calm = 0;
    rules->watch[SAFETY_LOWER].calm = 0;
}

static void judge_half(struct rules *rules, const struct rules_half *half,
                       const struct rules_around *around, struct rules_verdict *verdict)
{
    struct rules_watch *watch = &rules->watch[verdict->half];
    if (does_not_rise(watch, half, around->trip)) {
        verdict->trip = SAFETY_NORISE;
    } else if (rises_too_fast(watch, half->tenths)) {
        verdict->trip = SAFETY_RISEFAST;
    } else if (falls(watch, half->tenths, around)) {
        if (rules->fallen != 0u && rules->fallen <= FALLS + 1u) {
            verdict->trip = SAFETY_FALLFAST;
        } else {
            verdict->fall = true;
        }
        rules->fallen = 1;
        look_forward(rules);
    } else if (is_stuck(watch, half)) {
        verdict->trip = SAFETY_STUCK;
    } else {
        verdict->full = is_full_too_long(watch, half);
    }
}

static void remember(struct rules_watch *watch, int16_t tenths)
{
    watch->before[watch->next] = tenths;
    watch->next++;
    if (watch->next >= RULES_SPAN) {
        watch->next = 0;
    }
    if (watch->kept < RULES_SPAN) {
        watch->kept++;
    }
}

static struct rules_verdict judge_armed(struct rules *rules,
                                        const struct rules_half half[SAFETY_HALVES],
                                        const struct rules_around *around)
{
    struct rules_verdict found = {SAFETY_NONE, 0, false, false};
    if (rules->window_was && !around->window) {
        look_forward(rules);
    }
    rules->window_was = around->window;
    if (disagree(rules, half, around->closed)) {
        found.trip = SAFETY_DISAGREE;
        return found;
    }
    for (uint8_t index = 0; index < rules->halves; index++) {
        struct rules_verdict verdict = {SAFETY_NONE, index, false, false};
        if (half[index].good) {
            judge_half(rules, &half[index], around, &verdict);
        } else {
            /* A bad reading is not judged, but its time counts, at the last good value. */
            (void)looks_back(&rules->watch[index], around->closed);
        }
        remember(&rules->watch[index], half[index].tenths);
        if (found.trip == SAFETY_NONE &&
            (verdict.trip != SAFETY_NONE || verdict.fall || verdict.full)) {
            found = verdict;
        }
    }
    return found;
}

/*@ requires \valid(rules) && \valid_read(half + (0 .. SAFETY_HALVES - 1)) && \valid_read(around);
    assigns *rules; */
struct rules_verdict rules_judge(struct rules *rules, const struct rules_half half[SAFETY_HALVES],
                                 const struct rules_around *around)
{
    struct rules_verdict found = {SAFETY_NONE, 0, false, false};
    pass_time(rules);
    for (uint8_t index = 0; index < rules->halves; index++) {
        struct rules_watch *watch = &rules->watch[index];
        const struct rules_half *one = &half[index];
        /* One half alone is its own other. */
        if (safety_count_over(&watch->over, one->good, one->tenths, around->trip)) {
            found.trip = SAFETY_OVERTEMP;
        } else if (heats_when_off(watch, one, &half[rules->halves - 1u - index], around)) {
            found.trip = SAFETY_WELDED;
        }
        if (found.trip != SAFETY_NONE) {
            found.half = index;
            return found;
        }
    }
    if (around->armed) {
        found = judge_armed(rules, half, around);
    }
    return found;
}
