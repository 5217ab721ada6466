#include "output.h"

#define WHOLE 1000u
#define HALVES 2u
#define WINDOWS_MOST 4u   /* more than can begin while a duty lives */
#define OLDER 0x80000000u /* an age from here on is that of a moment already accounted */

static uint16_t shortest_ms(const struct output *output)
{
    return output->build.least_ms > 0u ? output->build.least_ms : 1u;
}

static bool is_on(const struct output *output, const struct output_pulse *pulse)
{
    return pulse->begin_ms <= output->at_ms && output->at_ms < pulse->end_ms;
}

static void wait_less(struct output_pulse *pulse, uint16_t passed_ms)
{
    pulse->wait_ms = pulse->wait_ms > passed_ms ? (uint16_t)(pulse->wait_ms - passed_ms) : 0u;
}

/* Counts what a pulse delivers from the last accounting to a moment of the same window. */
static void deliver(const struct output *output, struct output_pulse *pulse, uint16_t until_ms)
{
    const uint16_t at_ms = output->at_ms;
    const uint16_t begin_ms = pulse->begin_ms > at_ms ? pulse->begin_ms : at_ms;
    const uint16_t end_ms = pulse->end_ms < until_ms ? pulse->end_ms : until_ms;
    uint16_t off_ms = (uint16_t)(until_ms - at_ms);
    if (begin_ms < end_ms) {
        pulse->on_ms = (uint16_t)(pulse->on_ms + (end_ms - begin_ms));
        pulse->wait_ms = output->build.least_ms;
        off_ms = (uint16_t)(until_ms - end_ms);
    }
    wait_less(pulse, off_ms);
}

/* Returns the on-time of a window that starts; what it is owed is left in `carry`. */
static uint16_t wanted_ms(const struct output *output, struct output_pulse *pulse)
{
    const uint16_t window_ms = output->build.window_ms;
    const uint16_t most_ms = output->open ? window_ms / 2u : window_ms;
    pulse->carry += (int32_t)((uint32_t)pulse->duty * window_ms);
    uint16_t on_ms = pulse->carry > 0 ? (uint16_t)((uint32_t)pulse->carry / WHOLE) : 0u;
    if (on_ms < shortest_ms(output)) {
        return 0u;
    }
    if (on_ms > window_ms - shortest_ms(output)) {
        on_ms = window_ms;
    }
    return on_ms < most_ms ? on_ms : most_ms;
}

/* Lays the pulse of a window that starts, as far as the minimum off allows. */
static void lay(const struct output *output, struct output_pulse *pulse, uint16_t begin_ms,
                uint16_t end_ms)
{
    const uint16_t least_ms = shortest_ms(output);
    const bool goes_on =
        begin_ms == 0u && pulse->begin_ms < pulse->end_ms && pulse->end_ms == output->at_ms;
    if (!goes_on && begin_ms < pulse->wait_ms) {
        begin_ms = pulse->wait_ms;
    }
    if (end_ms < begin_ms + least_ms) {
        begin_ms = 0u;
        end_ms = 0u;
    }
    pulse->begin_ms = begin_ms;
    pulse->end_ms = end_ms;
    pulse->carry -= (int32_t)((uint32_t)(end_ms - begin_ms) * WHOLE);
    /* What is over one shortest pulse is let go, so that a carry never piles up. */
    const int32_t most = (int32_t)((uint32_t)least_ms * WHOLE);
    if (pulse->carry > most) {
        pulse->carry = most;
    }
}

/* Takes back what earlier windows owe where the supply has no room for it in this one. */
static void fit(const struct output *output, uint16_t on_ms[HALVES])
{
    const uint16_t window_ms = output->build.window_ms;
    const uint16_t least_ms = shortest_ms(output);
    const uint16_t both_ms = (uint16_t)((uint32_t)window_ms * output->build.cap / WHOLE);
    const uint16_t sum_ms = (uint16_t)(on_ms[OUTPUT_UPPER] + on_ms[OUTPUT_LOWER]);
    if (sum_ms <= both_ms) {
        return;
    }
    const uint16_t over_ms = (uint16_t)(sum_ms - both_ms);
    const bool upper_is_longer = on_ms[OUTPUT_UPPER] > on_ms[OUTPUT_LOWER];
    uint16_t *const longer = &on_ms[upper_is_longer ? OUTPUT_UPPER : OUTPUT_LOWER];
    uint16_t *const shorter = &on_ms[upper_is_longer ? OUTPUT_LOWER : OUTPUT_UPPER];
    if (*longer - over_ms <= window_ms - least_ms) {
        *longer = (uint16_t)(*longer - over_ms);
    } else if (*shorter >= over_ms + least_ms) {
        *shorter = (uint16_t)(*shorter - over_ms);
    } else {
        *longer = (uint16_t)(window_ms - least_ms);
    }
}

/* Starts a window: the upper's pulse at its start, the lower's at its end. */
static void begin_window(struct output *output)
{
    const uint16_t window_ms = output->build.window_ms;
    struct output_pulse *const upper = &output->pulse[OUTPUT_UPPER];
    struct output_pulse *const lower = &output->pulse[OUTPUT_LOWER];
    uint16_t on_ms[HALVES] = {wanted_ms(output, upper), wanted_ms(output, lower)};
    fit(output, on_ms);
    lay(output, upper, 0u, on_ms[OUTPUT_UPPER]);
    lay(output, lower, (uint16_t)(window_ms - on_ms[OUTPUT_LOWER]), window_ms);
    output->at_ms = 0u;
    output->window_end_ms = window_ms;
}

/* Ends the running window as soon as minimum times allow, and starts the next. */
static void restart(struct output *output)
{
    const uint16_t at_ms = output->at_ms;
    uint16_t end_ms = at_ms;
    for (const struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES;
         pulse++) {
        uint16_t settled_ms = at_ms; /* one that stays off need not wait */
        if (is_on(output, pulse)) {
            settled_ms = (uint16_t)(pulse->begin_ms + output->build.least_ms);
        } else if (pulse->duty > 0u) {
            settled_ms = (uint16_t)(at_ms + pulse->wait_ms);
        }
        end_ms = settled_ms > end_ms ? settled_ms : end_ms;
    }
    if (end_ms < output->window_end_ms) {
        output->window_end_ms = end_ms;
        for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
            /* A pulse that is yet to come could be cut too short: the next window's comes. */
            const uint16_t most_ms = pulse->begin_ms > at_ms ? pulse->begin_ms : end_ms;
            pulse->end_ms = pulse->end_ms < most_ms ? pulse->end_ms : most_ms;
        }
    }
    if (output->window_end_ms == at_ms) {
        begin_window(output);
    }
}

static void set_duties(struct output *output)
{
    const uint16_t cap = output->build.cap;
    const uint16_t most = output->held ? 0u : output->open ? WHOLE / 2u : WHOLE;
    uint16_t both = 0u;
    for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
        pulse->duty = pulse->taken < most ? pulse->taken : most;
        both = (uint16_t)(both + pulse->duty);
    }
    if (both > cap) {
        for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
            pulse->duty = (uint16_t)((uint32_t)pulse->duty * cap / both);
        }
    }
}

static void cut_pulse(const struct output *output, struct output_pulse *pulse)
{
    pulse->begin_ms = output->at_ms;
    pulse->end_ms = output->at_ms;
    pulse->carry = 0;
}

static void cut(struct output *output)
{
    for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
        cut_pulse(output, pulse);
        pulse->taken = 0u;
        pulse->duty = 0u;
    }
    output->idle = true;
}

/* Lets time pass that lies within the life of the duties. */
static void run(struct output *output, uint16_t passed_ms)
{
    for (uint8_t windows = 0u; windows < WINDOWS_MOST; windows++) {
        const uint16_t left_ms = (uint16_t)(output->window_end_ms - output->at_ms);
        const uint16_t step_ms = passed_ms < left_ms ? passed_ms : left_ms;
        const uint16_t until_ms = (uint16_t)(output->at_ms + step_ms);
        deliver(output, &output->pulse[OUTPUT_UPPER], until_ms);
        deliver(output, &output->pulse[OUTPUT_LOWER], until_ms);
        output->at_ms = until_ms;
        if (step_ms < left_ms) {
            return;
        }
        begin_window(output);
        passed_ms = (uint16_t)(passed_ms - step_ms);
        if (passed_ms == 0u) {
            return;
        }
    }
    cut(output); /* no window that may be built is so short */
}

void output_start(struct output *output, const struct output_build *build, uint32_t now_ms)
{
    *output = (struct output){.build = *build, .now_ms = now_ms, .idle = true};
}

void output_account(struct output *output, uint32_t now_ms)
{
    const uint32_t age_ms = now_ms - output->now_ms;
    uint16_t passed_ms = age_ms < UINT16_MAX ? (uint16_t)age_ms : UINT16_MAX;
    if (!output->idle) {
        if (age_ms >= OLDER) {
            return;
        }
        const uint16_t alive_ms = passed_ms < output->expires_ms ? passed_ms : output->expires_ms;
        run(output, alive_ms);
        output->expires_ms = (uint16_t)(output->expires_ms - alive_ms);
        passed_ms = (uint16_t)(passed_ms - alive_ms);
        if (output->expires_ms == 0u) {
            cut(output);
        }
    }
    wait_less(&output->pulse[OUTPUT_UPPER], passed_ms);
    wait_less(&output->pulse[OUTPUT_LOWER], passed_ms);
    output->now_ms = now_ms;
}

void output_take(struct output *output, uint32_t now_ms, uint16_t upper, uint16_t lower,
                 uint32_t expires_ms)
{
    output_account(output, now_ms);
    const uint32_t life_ms = expires_ms - output->now_ms;
    if ((upper == 0u && lower == 0u) || life_ms == 0u || life_ms > OUTPUT_EXPIRY_MOST_MS) {
        cut(output);
        return;
    }
    output->expires_ms = (uint16_t)life_ms;
    bool restarts = output->idle;
    if (output->idle) {
        output->idle = false;
        output->at_ms = 0u;
        output->window_end_ms = UINT16_MAX;
    }
    for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
        const uint16_t duty = pulse == output->pulse ? upper : lower;
        restarts = restarts || (pulse->taken == 0u && duty >= OUTPUT_FULL_DUTY);
        pulse->taken = duty;
        if (duty == 0u) {
            cut_pulse(output, pulse);
        }
    }
    set_duties(output);
    if (restarts) {
        restart(output);
    }
}

void output_cut(struct output *output, uint32_t now_ms)
{
    output_account(output, now_ms);
    cut(output);
}

void output_hold(struct output *output, uint32_t now_ms, bool held, bool open)
{
    output_account(output, now_ms);
    if (held == output->held && open == output->open) {
        return;
    }
    output->held = held;
    output->open = open;
    if (output->idle) {
        return;
    }
    set_duties(output);
    for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
        if (held) {
            cut_pulse(output, pulse);
        } else if (open) {
            const uint16_t end_ms = (uint16_t)(pulse->begin_ms + output->build.window_ms / 2u);
            pulse->end_ms = pulse->end_ms < end_ms ? pulse->end_ms : end_ms;
        }
    }
}

bool output_is_on(const struct output *output, uint8_t half)
{
    return is_on(output, &output->pulse[half]);
}

uint16_t output_rest_ms(const struct output *output)
{
    uint16_t rest_ms = UINT16_MAX;
    if (!output->idle) {
        rest_ms = (uint16_t)(output->window_end_ms - output->at_ms);
        rest_ms = output->expires_ms < rest_ms ? output->expires_ms : rest_ms;
    }
    for (const struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES;
         pulse++) {
        uint16_t next_ms = pulse->wait_ms;
        if (!output->idle) {
            next_ms = (uint16_t)(pulse->begin_ms - output->at_ms);
            if (pulse->begin_ms <= output->at_ms) {
                next_ms = (uint16_t)(pulse->end_ms - output->at_ms);
            }
        }
        rest_ms = next_ms > 0u && next_ms < rest_ms ? next_ms : rest_ms;
    }
    return rest_ms;
}
