/* Switches that bounce, ARM/RESET and NEXT/MARK. PROTOCOL.md sections 5, 6.1 and 6.2. */
#ifndef BUTTONS_H
#define BUTTONS_H

#include <stdbool.h>
#include <stdint.h>

#define BUTTONS_SAMPLE_MS 4u /* a switch counts as moved after 4 equal samples */
#define BUTTONS_NEXT_LEAST_MS 50u
#define BUTTONS_NEXT_APART_MS 500u
#define BUTTONS_RESET_LEAST_MS 2000u
#define BUTTONS_RESET_MOST_MS 5000u

/* All switches at once, one bit each. */
struct buttons_filter {
    uint16_t stable;
    uint16_t count0; /* a two-bit counter for each switch, in two words */
    uint16_t count1;
};

struct buttons_arm {
    uint32_t down_ms;
    bool held;      /* seen to go down, and not yet up */
    bool may_reset; /* the board was tripped when it went down, at most 5 s ago */
};

struct buttons_next {
    uint32_t down_ms;
    uint32_t last_ms;
    uint8_t count; /* completed presses, modulo 256 */
    bool is_down;
    bool recent; /* the last press was counted less than 0.5 s ago */
};

void buttons_filter_start(struct buttons_filter *filter, uint16_t now);

/* Takes one sample of all switches; returns the bits that have moved with it. */
uint16_t buttons_filter_take(struct buttons_filter *filter, uint16_t sample);

/* A button that is down at the start is not held until it came up. */
void buttons_arm_start(struct buttons_arm *arm);
void buttons_arm_press(struct buttons_arm *arm, uint32_t now_ms, bool tripped);

/* It comes up; returns whether this asks for a reset: pressed while tripped, held for 2 to 5 s. */
bool buttons_arm_release(struct buttons_arm *arm, uint32_t now_ms);

void buttons_next_start(struct buttons_next *next);
void buttons_next_press(struct buttons_next *next, uint32_t now_ms);
void buttons_next_release(struct buttons_next *next, uint32_t now_ms);

/* Forgets moments that lie too far back to matter. Without it a button that is stuck for as long as
 * the clock takes to wrap would pass for one that is pressed for a few seconds: call it each pass.
 */
void buttons_update(struct buttons_arm *arm, struct buttons_next *next, uint32_t now_ms);

#endif
