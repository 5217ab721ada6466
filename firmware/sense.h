/* Converter registers to temperatures the board decides on; integers only.
 *
 * Temperatures are tenths of a degree Celsius, times milliseconds of the board's clock, which
 * wraps. Section 6.5 of PROTOCOL.md says what is a good reading. */
#ifndef SENSE_H
#define SENSE_H

#include <stdbool.h>
#include <stdint.h>

#define SENSE_SILENT_MS 750u /* so long a half may be without a good reading */
#define SENSE_COLD_MS 2000u  /* so long its cold junction may be out of range */

struct sense {
    uint32_t raw;         /* as last read */
    uint16_t good_ms;     /* when the last good reading was taken, modulo 65536 */
    uint16_t cold_out_ms; /* since when the cold junction is out of range, the same */
    uint16_t good_for_ms; /* so long that reading may be built on; 0: not at all */
    uint16_t count;       /* good readings, modulo 65536 */
    int16_t tenths;       /* of the last good reading; 0 before the first */
    int16_t cold_tenths;  /* the same of its cold junction */
    bool shown_good;      /* the last register was a good reading */
    bool cold_is_out;
};

/* Corrects one register by ITS-90; false where it is no good reading (faults, reserved bits, exact
 * 0, all ones, outside -10 to 400 degC). `tenths` and `cold_tenths` are written only if true. */
bool sense_correct(uint32_t raw, int16_t *tenths, int16_t *cold_tenths);

void sense_start(struct sense *sense);

/* Takes a register as read now; returns whether it is a good reading. Call it at least once a
 * minute: times are kept in 16 bits. */
bool sense_take(struct sense *sense, uint32_t raw, uint32_t now_ms);

/* Returns whether heat may be decided on this half now: a good reading within 750 ms, and its
 * cold junction not out of range for 2 s. */
bool sense_is_good(const struct sense *sense, uint32_t now_ms);

#endif
