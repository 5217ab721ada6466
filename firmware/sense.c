#include "sense.h"

_Static_assert((int16_t)0x8000u == INT16_MIN, "an unsigned number becomes a signed one bit by bit");

#define NOT_GOOD_HIGH 0x0003u /* of the high half: reserved 17, any fault 16 */
#define NOT_GOOD_LOW 0x000Fu  /* of the low half: reserved 3, causes 2 to 0 */

/* The chip's own temperature, in sixteenths above the -55 degC that it can report: up to 127 degC;
 * good from -10 to 70 degC (PROTOCOL.md section 6.5). */
#define COLD_ZERO 880u
#define COLD_MOST 2912u
#define COLD_NONE UINT16_MAX
#define COLD_GOOD_LEAST 720u
#define COLD_GOOD_MOST 2000u

/* PROTOCOL.md section 6.5: -10 to 400 degC. */
#define GOOD_LEAST (-100)
#define GOOD_MOST 4000

/* What the chip may show for these with any cold junction, and a little more, in quarters above -16
 * degC: within them no voltage leaves 32 bits, and no step the table. */
#define SHOWN_ZERO 64u
#define SHOWN_MOST 1663u

/* The chip's constant slope, 41.276 uV/K (data sheet, type K), in 1/128000 uV to 1/16 K. */
#define SLOPE 330208u

/* Temperatures on the scale of the first table are steps of 1/80 K above -102.4 degC. */
#define STEPS_BELOW_ZERO 8192u
#define STEPS_PER_TENTH 8u
#define STEPS_PER_SIXTEENTH 5u
#define PIECE_BITS 13u
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
    const uint16_t share = (uint16_t)(steps << (16u - PIECE_BITS));
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

/* Returns the cold junction, COLD_NONE where a register has any sign of a fault. */
static uint16_t cold_of(uint32_t raw)
{
    const uint16_t high = (uint16_t)(raw >> 16);
    const uint16_t low = (uint16_t)raw;
    const uint16_t cold = (uint16_t)((low >> 4 ^ 0x800u) - (0x800u - COLD_ZERO));
    if ((high & NOT_GOOD_HIGH) != 0u || (low & NOT_GOOD_LOW) != 0u || (high | low) == 0u ||
        cold > COLD_MOST) {
        return COLD_NONE;
    }
    return cold;
}

/* Returns the true temperature, anything out of range where it is out of range. */
static int16_t corrected(uint32_t raw, uint16_t cold)
{
    const uint16_t shown =
        (uint16_t)(((uint16_t)(raw >> 16) >> 2 ^ 0x2000u) - (0x2000u - SHOWN_ZERO));
    if (shown > SHOWN_MOST) {
        return INT16_MAX;
    }
    /* What the chip added for its own temperature goes, what ITS-90 says of it comes. */
    const uint16_t steps = (uint16_t)(cold * STEPS_PER_SIXTEENTH +
                                      (STEPS_BELOW_ZERO - COLD_ZERO * STEPS_PER_SIXTEENTH));
    const int16_t above = (int16_t)(shown * 4u - cold + (COLD_ZERO - SHOWN_ZERO * 4u));
    return tenths_of((int32_t)((uint32_t)emf(steps) + (uint32_t)above * SLOPE));
}

static int16_t cold_tenths_of(uint16_t cold)
{
    return (int16_t)((int16_t)((cold * 10u + 8u) >> 4) - (int16_t)(COLD_ZERO * 10u / 16u));
}

static bool is_in_range(int16_t tenths)
{
    return tenths >= GOOD_LEAST && tenths <= GOOD_MOST;
}

bool sense_correct(uint32_t raw, int16_t *tenths, int16_t *cold_tenths)
{
    const uint16_t cold = cold_of(raw);
    const int16_t found = cold == COLD_NONE ? INT16_MAX : corrected(raw, cold);
    if (!is_in_range(found)) {
        return false;
    }
    *tenths = found;
    *cold_tenths = cold_tenths_of(cold);
    return true;
}

void sense_start(struct sense *sense)
{
    *sense = (struct sense){0};
}

/* Returns how long a good reading of now may be built on. */
static uint16_t good_for(struct sense *sense, uint16_t cold, uint16_t now_ms)
{
    const bool out = cold < COLD_GOOD_LEAST || cold > COLD_GOOD_MOST;
    if (!sense->cold_is_out) {
        sense->cold_out_ms = now_ms;
    }
    sense->cold_is_out = out;
    const uint16_t left_ms = (uint16_t)(sense->cold_out_ms + SENSE_COLD_MS - now_ms);
    return out && left_ms < SENSE_SILENT_MS ? left_ms : SENSE_SILENT_MS;
}

bool sense_take(struct sense *sense, uint32_t raw, uint32_t now_ms)
{
    const uint16_t now = (uint16_t)now_ms;
    const uint16_t cold = cold_of(raw);
    /* What is over stays over when the clock wraps. */
    if (!sense_is_good(sense, now_ms)) {
        sense->good_for_ms = 0;
    }
    if ((uint16_t)(now - sense->cold_out_ms) > SENSE_COLD_MS) {
        sense->cold_out_ms = (uint16_t)(now - SENSE_COLD_MS);
    }
    sense->raw = raw;
    sense->shown_good = false;
    if (cold == COLD_NONE) {
        return false;
    }
    const uint16_t good_for_ms = good_for(sense, cold, now);
    const int16_t tenths = corrected(raw, cold);
    if (!is_in_range(tenths)) {
        return false;
    }
    sense->tenths = tenths;
    sense->cold_tenths = cold_tenths_of(cold);
    sense->shown_good = true;
    sense->count++;
    sense->good_ms = now;
    sense->good_for_ms = good_for_ms;
    return true;
}

bool sense_is_good(const struct sense *sense, uint32_t now_ms)
{
    return (uint16_t)((uint16_t)now_ms - sense->good_ms) < sense->good_for_ms;
}
