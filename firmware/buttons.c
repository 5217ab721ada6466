#include "buttons.h"

void buttons_filter_start(struct buttons_filter *filter, uint16_t now)
{
    *filter = (struct buttons_filter){.stable = now};
}

uint16_t buttons_filter_take(struct buttons_filter *filter, uint16_t sample)
{
    /* All counters at once: those of switches that differ count up, the others go back to 0. */
    const uint16_t differs = sample ^ filter->stable;
    filter->count1 = (filter->count1 ^ filter->count0) & differs;
    filter->count0 = (uint16_t)(~filter->count0) & differs;
    const uint16_t moved = differs & (uint16_t)~(filter->count1 | filter->count0);
    filter->stable ^= moved;
    return moved;
}

void buttons_arm_start(struct buttons_arm *arm)
{
    *arm = (struct buttons_arm){.held = false};
}

void buttons_arm_press(struct buttons_arm *arm, uint32_t now_ms, bool tripped)
{
    arm->down_ms = now_ms;
    arm->held = true;
    arm->may_reset = tripped;
}

bool buttons_arm_release(struct buttons_arm *arm, uint32_t now_ms)
{
    const uint32_t down_ms = now_ms - arm->down_ms;
    const bool asks = arm->held && arm->may_reset && down_ms >= BUTTONS_RESET_LEAST_MS &&
                      down_ms <= BUTTONS_RESET_MOST_MS;
    arm->held = false;
    return asks;
}

void buttons_next_start(struct buttons_next *next)
{
    *next = (struct buttons_next){.count = 0u};
}

void buttons_next_press(struct buttons_next *next, uint32_t now_ms)
{
    next->down_ms = now_ms;
    next->is_down = true;
}

void buttons_next_release(struct buttons_next *next, uint32_t now_ms)
{
    const bool long_enough = next->is_down && now_ms - next->down_ms >= BUTTONS_NEXT_LEAST_MS;
    const bool apart = !next->recent || now_ms - next->last_ms >= BUTTONS_NEXT_APART_MS;
    next->is_down = false;
    if (long_enough && apart) {
        next->count++;
        next->last_ms = now_ms;
        next->recent = true;
    }
}

void buttons_update(struct buttons_arm *arm, struct buttons_next *next, uint32_t now_ms)
{
    if (now_ms - arm->down_ms > BUTTONS_RESET_MOST_MS) {
        arm->may_reset = false;
    }
    if (now_ms - next->down_ms > BUTTONS_NEXT_LEAST_MS) {
        next->down_ms = now_ms - BUTTONS_NEXT_LEAST_MS;
    }
    if (now_ms - next->last_ms >= BUTTONS_NEXT_APART_MS) {
        next->recent = false;
    }
}
