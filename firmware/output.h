/* Two duties to two on/off outputs, time-proportioned to the millisecond: section 6.4 of
 * PROTOCOL.md.
 *
 * Duties are per mille, times milliseconds of the board's clock, which wraps. Within a window times
 * are 16 bits wide and count from its start. */
#ifndef OUTPUT_H
#define OUTPUT_H

#include <stdbool.h>
#include <stdint.h>

#define OUTPUT_UPPER 0u
#define OUTPUT_LOWER 1u

#define OUTPUT_FULL_DUTY 950u       /* a step from 0 to this starts a new window */
#define OUTPUT_EXPIRY_MOST_MS 1500u /* so long a duty lives at most */

struct output_build {
    uint16_t window_ms; /* 1000 to 20000 */
    uint16_t least_ms;  /* minimum on and off; 0 where the output does not wear */
    uint16_t cap;       /* what both duties may sum to, 1000 to 2000 */
};

struct output_pulse {
    int16_t owed_ms;   /* by earlier windows, */
    uint16_t owed_us;  /* and less than a millisecond more */
    uint16_t begin_ms; /* of the pulse in the window that runs; begin == end: none */
    uint16_t end_ms;
    uint16_t wait_ms; /* what is left of the minimum off */
    uint16_t taken;   /* duty as the host sent it, 0 once it expired */
    uint16_t duty;    /* in force, after holds, open mould and supply limit */
    uint16_t on_ms;   /* delivered, modulo 65536 */
};

struct output {
    struct output_build build;
    struct output_pulse pulse[2];
    uint32_t now_ms;        /* up to when deliveries are accounted */
    uint16_t at_ms;         /* the same in the window that runs */
    uint16_t window_end_ms; /* its length, or less where a step to full ends it */
    uint16_t expires_ms;    /* left until the duties expire */
    bool idle;              /* both duties are 0 */
    bool held;
    bool open;
};

void output_start(struct output *output, const struct output_build *build, uint32_t now_ms);

/* Brings everything up to a moment: windows that begin, pulses that end, duties that expire.
 * Call it at least once a second, and at each moment that `output_rest_ms` names. */
void output_account(struct output *output, uint32_t now_ms);

/* Replaces both duties at once; they end at `expires_ms`. Where that is past, or further ahead
 * than a duty may live, both outputs are cut. */
void output_take(struct output *output, uint32_t now_ms, uint16_t upper, uint16_t lower,
                 uint32_t expires_ms);

/* Both outputs off now, whatever minimum times say, until the next taken duty. */
void output_cut(struct output *output, uint32_t now_ms);

/* Takes both duties as 0 while held, and at most half while the mould is open. */
void output_hold(struct output *output, uint32_t now_ms, bool held, bool open);

/* Returns whether an output is on at the moment of the last accounting. */
bool output_is_on(const struct output *output, uint8_t half);

/* Returns the milliseconds from the last accounting until something must be done; 0xFFFF: nothing.
 */
uint16_t output_rest_ms(const struct output *output);

#endif
