/* What lasts through resets and power: the layout of the EEPROM, its checks, and its writing.
 *
 * Every record is stored twice, the second time with every bit inverted, each copy with its own
 * CRC-8. Writing goes one byte at a time, so that it never holds a safety pass up; a byte that
 * already holds its value is not written again. Doubt reads as a latched self-test trip and as the
 * lowest trip point. */
#ifndef MEMORY_H
#define MEMORY_H

#include <stdbool.h>
#include <stdint.h>

#define MEMORY_BYTES 1024u
#define MEMORY_SLOTS 8u
#define MEMORY_LOG_ENTRIES 64u
#define MEMORY_QUEUE 8u /* entries of the log that wait to be written */
#define MEMORY_LATCHES 12u /* first-out words, `none` and `selftest` first and last */
#define MEMORY_LATCH_SELFTEST 11u
#define MEMORY_TRIP_LEAST 600
#define MEMORY_TRIP_DEFAULT 2150
#define MEMORY_TRIP_MOST 2300

/* Reads one byte; on the board the EEPROM, in tests an array. */
typedef uint8_t (*memory_peek)(uint16_t address);

struct memory_half {
    uint16_t rise; /* mK/s; 0: nothing is stored */
    uint16_t lag;  /* tenths of a second */
    uint16_t up;   /* seconds */
};

struct memory_slot {
    struct memory_half half[2]; /* upper, lower */
};

struct memory_entry {
    uint32_t ms;
    uint16_t number; /* 1 to 65535; 0: no entry */
    uint16_t boot;
    int16_t tenths;
    uint8_t code;
};

/* Lasting values as they stand, with the writing that is still to be done. Fields are read freely and
 * written only by the functions below. */
struct memory {
    struct memory_slot slot;      /* the one in use; zeros where there is none */
    struct memory_entry queue[MEMORY_QUEUE];
    uint32_t operations;          /* of the contactor */
    uint32_t board_id[2];         /* high half first */
    int16_t trip;                 /* trip point, tenths */
    int16_t trip_inverted;        /* its complement: memory_trip compares */
    uint16_t boots;
    uint16_t newest;              /* number of the newest entry of the log, 0 if there is none */
    uint8_t latch;                /* first-out, 0 none */
    uint8_t used;                 /* slot in use, 0 none */
    uint8_t queued;
    uint8_t dirty;                /* records that wait, one bit each */
    uint8_t dirty_slot;           /* number of the slot that waits to be written, 0 none */
    struct memory_slot to_write;  /* its content */
    uint8_t at;                   /* the byte of the present job that is written next */
    bool damaged;                 /* a record was found in doubt at the start */
};

/* Reads everything, counts this start, and resolves doubt towards heat off. */
void memory_start(struct memory *memory, memory_peek peek);

/* Returns the next byte to write, latch first, then limits, slots, counters, log; false: nothing
 * waits. Call it when the last byte has been written. */
bool memory_next(struct memory *memory, memory_peek peek, uint16_t *address, uint8_t *value);

/* Returns the trip point, or the lowest one where value and complement do not agree. */
int16_t memory_trip(const struct memory *memory);

void memory_set_latch(struct memory *memory, uint8_t latch);
void memory_set_trip(struct memory *memory, int16_t tenths);
void memory_use(struct memory *memory, memory_peek peek, uint8_t slot);
void memory_count_operation(struct memory *memory);

/* Reads a slot (1 to 8); false where neither copy is good or nothing is stored. A slot that still
 * waits to be written reads as it will be. */
bool memory_read_slot(const struct memory *memory, memory_peek peek, uint8_t number,
                      struct memory_slot *slot);

/* Stores one half of a slot; false while the last one is still being written to another slot. */
bool memory_store(struct memory *memory, memory_peek peek, uint8_t number, uint8_t half,
                  const struct memory_half *values);

/* Adds an entry to the log and returns its number. */
uint16_t memory_log(struct memory *memory, uint32_t ms, uint8_t code, int16_t tenths);

/* Reads an entry by its number, the newest for 0; false: there is none. */
bool memory_entry(const struct memory *memory, memory_peek peek, uint16_t number,
                  struct memory_entry *entry);

#endif
