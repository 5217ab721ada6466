#include "output.h"

#define WHOLE 1000u
#define HALVES 2u
#define LATE_MOST_MS 5000u /* no duty lives, and no minimum lasts, so long */

static bool is_on(const struct output *output, const struct output_pulse *pulse)
{
    return pulse->begin_ms <= output->at_ms && output->at_ms < pulse->end_ms;
}

/* Returns the on-time of a window that starts; what was owed for it is left in `owed_ms`. */
static uint16_t wanted_ms(const struct output *output, struct output_pulse *pulse)
{
    const uint16_t window_ms = output->build.window_ms;
    const uint16_t most_ms = output->open ? window_ms / 2u : window_ms;
    const uint32_t more_us = (uint32_t)pulse->duty * window_ms + pulse->owed_us;
    pulse->owed_ms = (int16_t)(pulse->owed_ms + (int16_t)(more_us / WHOLE));
    pulse->owed_us = (uint16_t)(more_us % WHOLE);
    if (pulse->owed_ms < (int16_t)output->build.least_ms) {
        return 0u;
    }
    uint16_t on_ms = (uint16_t)pulse->owed_ms;
    if (on_ms > window_ms - output->build.least_ms) {
        on_ms = window_ms;
    }
    return on_ms < most_ms ? on_ms : most_ms;
}

/* Lays the pulse of a window that starts, as far as the minimum off allows. One that was on till
 * now either goes on or begins after at least that minimum. */
static void lay(const struct output *output, struct output_pulse *pulse, uint16_t begin_ms,
                uint16_t end_ms)
{
    const uint16_t least_ms = output->build.least_ms;
    const bool goes_on = pulse->begin_ms < pulse->end_ms && pulse->end_ms == output->at_ms;
    if (!goes_on && begin_ms < pulse->wait_ms) {
        begin_ms = pulse->wait_ms;
    }
    if (end_ms < begin_ms + least_ms) {
        end_ms = begin_ms;
    }
    pulse->begin_ms = begin_ms;
    pulse->end_ms = end_ms;
    pulse->owed_ms = (int16_t)(pulse->owed_ms - (int16_t)(end_ms - begin_ms));
    /* What is over one shortest pulse is let go, so that it never piles up. */
    if (pulse->owed_ms > (int16_t)least_ms) {
        pulse->owed_ms = (int16_t)least_ms;
    }
}

/* Returns what is left of the longer on-time where the supply has no room for all that is owed.
 * With a limit between 1000 and 2000 a relay then pauses for its minimum, though less would do. */
static uint16_t fitted_ms(const struct output *output, uint16_t longer_ms, uint16_t shorter_ms)
{
    const uint16_t window_ms = output->build.window_ms;
    const uint16_t most_ms = (uint16_t)(window_ms - output->build.least_ms);
    const uint16_t both_ms = (uint16_t)((uint32_t)window_ms * output->build.cap / WHOLE);
    const uint16_t room_ms = (uint16_t)(both_ms - shorter_ms);
    if (longer_ms <= room_ms) {
        return longer_ms;
    }
    return room_ms < most_ms ? room_ms : most_ms;
}

/* Starts a window: the upper's pulse at its start, the lower's at its end. */
static void begin_window(struct output *output)
{
    struct output_pulse *const upper = &output->pulse[OUTPUT_UPPER];
    struct output_pulse *const lower = &output->pulse[OUTPUT_LOWER];
    uint16_t upper_ms = wanted_ms(output, upper);
    uint16_t lower_ms = wanted_ms(output, lower);
    if (upper_ms > lower_ms) {
        upper_ms = fitted_ms(output, upper_ms, lower_ms);
    } else {
        lower_ms = fitted_ms(output, lower_ms, upper_ms);
    }
    lay(output, upper, 0u, upper_ms);
    lay(output, lower, (uint16_t)(output->build.window_ms - lower_ms), output->build.window_ms);
    output->at_ms = 0u;
    output->window_end_ms = output->build.window_ms;
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

static void cut_pulse(struct output_pulse *pulse)
{
    pulse->begin_ms = 0u;
    pulse->end_ms = 0u;
    pulse->owed_ms = 0;
    pulse->owed_us = 0u;
}

static void cut(struct output *output)
{
    for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
        cut_pulse(pulse);
        pulse->taken = 0u;
        pulse->duty = 0u;
    }
    output->idle = true;
}

/* Lets milliseconds pass in which nothing is to be done till their end. */
static void step(struct output *output, uint16_t step_ms)
{
    for (struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES; pulse++) {
        if (is_on(output, pulse)) {
            pulse->on_ms = (uint16_t)(pulse->on_ms + step_ms);
            pulse->wait_ms = output->build.least_ms;
        } else {
            pulse->wait_ms = pulse->wait_ms > step_ms ? (uint16_t)(pulse->wait_ms - step_ms) : 0u;
        }
    }
    if (output->idle) {
        return;
    }
    output->at_ms = (uint16_t)(output->at_ms + step_ms);
    output->expires_ms = (uint16_t)(output->expires_ms - step_ms);
    if (output->expires_ms == 0u) {
        cut(output);
    } else if (output->at_ms >= output->window_end_ms) {
        begin_window(output);
    }
}

void output_start(struct output *output, const struct output_build *build, uint32_t now_ms)
{
    *output = (struct output){.build = *build, .now_ms = now_ms, .idle = true};
}

void output_account(struct output *output, uint32_t now_ms)
{
    const uint32_t age_ms = now_ms - output->now_ms;
    uint16_t left_ms = age_ms < LATE_MOST_MS ? (uint16_t)age_ms : LATE_MOST_MS;
    while (left_ms > 0u) { /* each round takes a millisecond at least */
        const uint16_t rest_ms = output_rest_ms(output);
        if (rest_ms == 0u) {
            cut(output); /* cannot be: memory is not what it was */
        }
        const uint16_t step_ms = rest_ms > 0u && rest_ms < left_ms ? rest_ms : left_ms;
        step(output, step_ms);
        left_ms = (uint16_t)(left_ms - step_ms);
    }
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
            cut_pulse(pulse);
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
            cut_pulse(pulse);
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
    if (output->idle) {
        return UINT16_MAX;
    }
    uint16_t rest_ms = (uint16_t)(output->window_end_ms - output->at_ms);
    rest_ms = output->expires_ms < rest_ms ? output->expires_ms : rest_ms;
    for (const struct output_pulse *pulse = output->pulse; pulse < output->pulse + HALVES;
         pulse++) {
        uint16_t next_ms = (uint16_t)(pulse->begin_ms - output->at_ms);
        if (pulse->begin_ms <= output->at_ms) {
            next_ms = (uint16_t)(pulse->end_ms - output->at_ms);
        }
        rest_ms = next_ms > 0u && next_ms < rest_ms ? next_ms : rest_ms;
    }
    return rest_ms;
}
