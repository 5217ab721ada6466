/* The inside of the memory: how a record stands in the EEPROM. Only its own sources include this;
 * memory.h is its outside.
 *
 * A copy is a CRC-8 (polynomial 07) and the bytes. The CRC begins with the copy's address, so that
 * none is right at the place of another. A second copy follows the first, with every bit inverted.
 * The layout is known to eeprom_image.py too. */
#ifndef RECORD_H
#define RECORD_H

#include "memory.h"

#define RECORD_COPIES 2u
#define RECORD_MOST 12u /* bytes without the CRC */
#define RECORD_SLOT 12u
#define RECORD_ENTRY 11u

/* Byte 0 stays free: what a falling supply spoils is said to be that one first (from memory of data
 * sheets of older controllers of this kind). */
#define RECORD_AT_LATCH 1u
#define RECORD_AT_TRIP 5u
#define RECORD_AT_USED 11u
#define RECORD_AT_COUNTERS 15u
#define RECORD_AT_ID 29u

struct record_pair {
    uint8_t bytes[RECORD_COPIES][RECORD_MOST];
    bool good[RECORD_COPIES];
    bool same; /* both are good and equal */
};

uint16_t record_at_slot(uint8_t number);
uint16_t record_at_entry(uint8_t place);

/* Reads both copies; returns the bytes of the first good one, NULL where there is none. */
const uint8_t *record_load(memory_peek peek, uint16_t address, uint8_t count,
                           struct record_pair *pair);

/* Reads an entry of the log, which has one copy; false: there is none. */
bool record_load_entry(memory_peek peek, uint8_t place, struct memory_entry *entry);

/* Writing goes in steps, each of one byte. */
uint8_t record_steps(uint8_t count, bool entry);

/* Returns what a step writes, and moves `address` there from the first copy's. */
uint8_t record_byte(const uint8_t *bytes, uint8_t count, bool entry, uint8_t step,
                    uint16_t *address);

#endif
