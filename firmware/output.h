/* Two duties to two on/off outputs, time-proportioned to the millisecond: section 6.4 of PROTOCOL.md.
 *
 * Duties are per mille, times milliseconds of the board's clock, which wraps. */
#ifndef OUTPUT_H
#define OUTPUT_H

#include <stdbool.h>
#include <stdint.h>

#define OUTPUT_UPPER 0u
#define OUTPUT_LOWER 1u

struct output_build {
    uint16_t window_ms;
    uint16_t least_ms; /* minimum on and off; 0 where the output does not wear */
    uint16_t cap;      /* what both duties may sum to */
};

struct output_pulse {
    uint32_t begin_ms; /* of the pulse in the window that runs; begin == end: none */
    uint32_t end_ms;
    uint32_t off_ms;   /* when it last went off, where `settled` is false */
    int32_t carry;     /* ms per mille that earlier windows owe */
    uint16_t taken;    /* duty as the host sent it, 0 once it expired */
    uint16_t duty;     /* in force, after holds, open mould and supply limit */
    uint16_t on_ms;    /* delivered, modulo 65536 */
    bool settled;      /* its last switching lies so far back that minimum times are over */
};

struct output {
    struct output_build build;
    struct output_pulse pulse[2];
    uint32_t now_ms; /* up to when deliveries are accounted */
    uint32_t window_end_ms;
    uint32_t expires_ms;
    bool idle;
    bool held;
    bool open;
};

void output_start(struct output *output, const struct output_build *build, uint32_t now_ms);

/* Brings everything up to a moment: windows that begin, pulses that end, duties that expire. */
void output_account(struct output *output, uint32_t now_ms);

/* Replaces both duties at once; they end at `expires_ms`. */
void output_take(struct output *output, uint32_t now_ms, uint16_t upper, uint16_t lower,
                 uint32_t expires_ms);

/* Both outputs off now, whatever minimum times say, until the next taken duty. */
void output_cut(struct output *output, uint32_t now_ms);

/* Takes both duties as 0 while held, and at most half while the mould is open. */
void output_hold(struct output *output, uint32_t now_ms, bool held, bool open);

/* Returns whether an output is on at the moment of the last accounting. */
bool output_is_on(const struct output *output, uint8_t half);

/* Returns the milliseconds from the last accounting until something must be done, 0xFFFF at most. */
uint16_t output_rest_ms(const struct output *output);

#endif
