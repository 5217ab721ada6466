#include "sense.h"

_Static_assert((int16_t)0x8000u == INT16_MIN, "an unsigned number becomes a signed one bit by bit");

#define NOT_GOOD_BITS 0x0003000Fu /* reserved 17 and 3, any fault 16, causes 2 to 0 */

/* What the chip can report of itself, -55 to 127 degC, in sixteenths. */
#define COLD_LEAST (-880)
#define COLD_MOST 2032
/* PROTOCOL.md section 6.5: -10 to 70 degC. */
#define COLD_GOOD_LEAST (-160)
#define COLD_GOOD_MOST 1120

/* PROTOCOL.md section 6.5: -10 to 400 degC. */
#define GOOD_LEAST (-100)
#define GOOD_MOST 4000

/* Quarters of a kelvin that the chip may show for these with any cold junction, and a few more:
 * within them no voltage leaves 32 bits, and no step the table. */
#define SHOWN_LEAST (-64)
#define SHOWN_MOST 1599

/* The chip's constant slope, 41.276 uV/K (data sheet, type K), in 1/128000 uV. */
#define SLOPE_PER_QUARTER 1320832
#define SLOPE_PER_SIXTEENTH 330208

/* Temperatures on the scale of the first table are steps of 1/80 K above -102.4 degC. */
#define STEPS_BELOW_ZERO 8192
#define STEPS_PER_TENTH 8u
#define STEPS_PER_SIXTEENTH 5
#define PIECE_BITS 13
#define PIECES 5
#define TERMS 10
#define GUESSES 18
#define GUESS_STEP 0x8000000u /* units */

/* Both tables are printed by its90_table.py from the ITS-90 reference function of type K (NIST
 * Monograph 175, IEC 60584-1). A polynomial for each 102.4 K, lowest power first, in
 * 1/128000 uV: */
static const IN_FLASH int32_t pieces[PIECES][TERMS] = {
    {-464179092, 395696505, 83907549, -17263688, 6634435, -13142787, 15614070, -11428205, 6601524,
     -2440311},
    {0, 517080778, 32778622, -11306466, 1248211, -3353474, -1240547, 2101362, -107969, -180441},
    {537020076, 541722653, -11180116, -12303103, 9542024, 4777209, -899066, -4987869, 3206450,
     -606395},
    {1066291863, 524391767, 6655527, 9683733, -6441913, -2602200, 4520490, -1648106, -10831, 89584},
    {1600929915, 544281138, 7150615, -2478217, 1076378, 212810, -780575, 531782, -174307, 23975},
};

/* Tenths of a degree at each 2^27 units, the first at -2^27. */
static const IN_FLASH int16_t guesses[GUESSES] = {
    -271, 0,    262,  518,  771,  1024, 1279, 1538, 1800,
    2063, 2323, 2582, 2837, 3090, 3342, 3592, 3842, 4090,
};

/* Returns value * share / 65536 to the nearest, without 64 bits. */
static int32_t part_of(int32_t value, uint16_t share)
{
    const int16_t high = (int16_t)((uint32_t)value >> 16);
    const uint16_t low = (uint16_t)value;
    return (int32_t)high * share + (int32_t)(((uint32_t)low * share + 0x8000u) >> 16);
}

/* Returns the voltage at so many steps, against 0 degC. */
static int32_t emf(uint16_t steps)
{
    const IN_FLASH int32_t *const piece = pieces[steps >> PIECE_BITS];
    const uint16_t share = (uint16_t)(steps << (16 - PIECE_BITS));
    int32_t sum = 0;
    for (uint8_t term = TERMS; term > 0; term--) {
        sum = piece[term - 1] + part_of(sum, share);
    }
    return sum;
}

/* Returns the voltage halfway between a tenth of a degree and the next. */
static int32_t edge(int16_t tenths)
{
    const uint16_t steps = (uint16_t)((uint16_t)tenths * STEPS_PER_TENTH);
    return emf((uint16_t)(steps + STEPS_PER_TENTH / 2u + STEPS_BELOW_ZERO));
}

/* Returns the tenths of a degree of a voltage, half up. */
static int16_t tenths_of(int32_t voltage)
{
    const uint32_t above = (uint32_t)voltage + GUESS_STEP;
    const uint8_t index = (uint8_t)(above / GUESS_STEP);
    const uint8_t share = (uint8_t)(above / (GUESS_STEP / 256u));
    const int16_t from = guesses[index];
    const uint16_t apart = (uint16_t)(guesses[index + 1] - from);
    /* Never too high, and at most three tenths too low. */
    int16_t tenths = (int16_t)(from + (int16_t)(((uint32_t)apart * share) >> 8));
    if (voltage >= edge((int16_t)(tenths + 1))) {
        tenths = (int16_t)(tenths + 2);
    }
    if (voltage >= edge(tenths)) {
        tenths++;
    }
    return tenths;
}

/* Both fields, with their signs. */
static int16_t shown_code(uint32_t raw)
{
    return (int16_t)((int16_t)((uint16_t)(raw >> 16) >> 2 ^ 0x2000u) - 0x2000);
}

static int16_t cold_code(uint32_t raw)
{
    return (int16_t)((int16_t)((uint16_t)raw >> 4 ^ 0x800u) - 0x800);
}

/* Returns whether a register has no sign of a fault; its hot junction may still be out of range. */
static bool is_whole(uint32_t raw)
{
    const int16_t cold = cold_code(raw);
    return raw != 0 && (raw & NOT_GOOD_BITS) == 0 && cold >= COLD_LEAST && cold <= COLD_MOST;
}

bool sense_correct(uint32_t raw, int16_t *tenths, int16_t *cold_tenths)
{
    const int16_t shown = shown_code(raw);
    const int16_t cold = cold_code(raw);
    if (!is_whole(raw) || shown < SHOWN_LEAST || shown > SHOWN_MOST) {
        return false;
    }
    /* What the chip added for its own temperature goes, what ITS-90 says of it comes. */
    const uint16_t steps = (uint16_t)(cold * STEPS_PER_SIXTEENTH + STEPS_BELOW_ZERO);
    const int32_t cold_more = emf(steps) - cold * SLOPE_PER_SIXTEENTH;
    const int16_t found = tenths_of(shown * SLOPE_PER_QUARTER + cold_more);
    if (found < GOOD_LEAST || found > GOOD_MOST) {
        return false;
    }
    *tenths = found;
    *cold_tenths =
        (int16_t)((int16_t)((uint16_t)((cold - COLD_LEAST) * 10 + 8) >> 4) + COLD_LEAST * 10 / 16);
    return true;
}

void sense_start(struct sense *sense)
{
    *sense = (struct sense){0};
}

/* Returns how long a good reading of now may be built on. */
static uint16_t good_for(struct sense *sense, uint32_t now_ms)
{
    const int16_t cold = cold_code(sense->raw);
    if (cold >= COLD_GOOD_LEAST && cold <= COLD_GOOD_MOST) {
        sense->cold_is_out = false;
        return SENSE_SILENT_MS;
    }
    if (!sense->cold_is_out) {
        sense->cold_is_out = true;
        sense->cold_out_ms = now_ms;
    }
    const uint32_t out_ms = now_ms - sense->cold_out_ms;
    if (out_ms >= SENSE_COLD_MS) {
        return 0;
    }
    const uint16_t left_ms = (uint16_t)(SENSE_COLD_MS - out_ms);
    return left_ms < SENSE_SILENT_MS ? left_ms : SENSE_SILENT_MS;
}

bool sense_take(struct sense *sense, uint32_t raw, uint32_t now_ms)
{
    /* What is over stays over when the clock wraps. */
    if (!sense_is_good(sense, now_ms)) {
        sense->good_for_ms = 0;
    }
    if (sense->cold_is_out && now_ms - sense->cold_out_ms > SENSE_COLD_MS) {
        sense->cold_out_ms = now_ms - SENSE_COLD_MS;
    }
    sense->raw = raw;
    sense->shown_good = false;
    if (!is_whole(raw)) {
        return false;
    }
    const uint16_t good_for_ms = good_for(sense, now_ms);
    if (!sense_correct(raw, &sense->tenths, &sense->cold_tenths)) {
        return false;
    }
    sense->shown_good = true;
    sense->count++;
    sense->good_ms = now_ms;
    sense->good_for_ms = good_for_ms;
    return true;
}

bool sense_is_good(const struct sense *sense, uint32_t now_ms)
{
    return now_ms - sense->good_ms < sense->good_for_ms;
}
