/* What lasts through resets and power: the layout of the EEPROM, its checks, and its writing.
 *
 * Every record is stored twice, the second time with every bit inverted, each copy with its own
 * CRC-8. Writing goes one byte at a time, so that it never holds a safety pass up; a byte that
 * already holds its value is not written again. Power may go after any byte and in the middle of
 * one. Doubt reads as a latched self-test trip, as the lowest trip point, as no mould. */
#ifndef MEMORY_H
#define MEMORY_H

#include <stdbool.h>
#include <stdint.h>

#define MEMORY_BYTES 1024u
#define MEMORY_SLOTS 8u
#define MEMORY_LOG_ENTRIES 64u
#define MEMORY_QUEUE 8u    /* entries of the log that wait to be written; a power of two */
#define MEMORY_LATCHES 12u /* first-out words, `none` first, `selftest` last */
#define MEMORY_LATCH_NONE 0u
#define MEMORY_LATCH_SELFTEST 11u
#define MEMORY_TRIP_LEAST 600
#define MEMORY_TRIP_DEFAULT 2150
#define MEMORY_TRIP_MOST 2300
#define MEMORY_RISE_MOST 5000u

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

/* Kept as it lies here, but for bytes that only fill up. */
struct memory_entry {
    uint32_t ms;
    uint16_t number; /* 1 to 65535 */
    uint16_t boot;
    int16_t tenths;
    uint8_t code;
};

/* An entry that waits to be written; its number and boot follow from its place in the queue. */
struct memory_waiting {
    uint32_t ms;
    int16_t tenths;
    uint8_t code;
};

/* Lasting values as they stand, with the writing that is still to be done. Fields are read freely
 * and written only by the functions below. Records are kept as they lie here. */
struct memory {
    struct memory_slot slot;                   /* the one in use; zeros where there is none */
    struct memory_slot to_write;               /* content of the slot that waits to be written */
    struct memory_waiting queue[MEMORY_QUEUE]; /* a ring */
    uint32_t board_id[2];                      /* high half first; zeros where it is damaged */
    uint32_t operations;                       /* of the contactor; with `boots` one record */
    uint16_t boots;
    int16_t trip;         /* trip point, tenths */
    uint16_t newest;      /* number of the newest entry of the log, 0 if there is none */
    uint8_t newest_place; /* where in the ring that is, or will be */
    uint8_t latch;        /* first-out, 0 none */
    uint8_t used;         /* slot in use, 0 none */
    uint8_t oldest;       /* where in the queue */
    uint8_t queued;
    uint8_t dirty;      /* records that wait, one bit each */
    uint8_t dirty_slot; /* number of the slot that waits to be written */
    uint8_t at;         /* steps done of the writing that comes first */
};

/* Reads everything, counts this start, and resolves doubt towards heat off. */
void memory_start(struct memory *memory, memory_peek peek);

/* Returns the next byte to write: latch first, then trip point, slot in use, slot, counters, log.
 * Call it when the last byte has been written. False: none at this moment; `dirty` is 0 where
 * nothing waits at all. */
bool memory_next(struct memory *memory, memory_peek peek, uint16_t *address, uint8_t *value);

/* Returns the trip point to be kept. The one in force is the core's, which is told again at each
 * pass and so puts a bit right that flips here. */
int16_t memory_trip(const struct memory *memory);

void memory_set_latch(struct memory *memory, uint8_t latch);
void memory_set_trip(struct memory *memory, int16_t tenths);

/* Uses a slot from now on; one that cannot be read gives zeros. */
void memory_use(struct memory *memory, memory_peek peek, uint8_t slot);
void memory_count_operation(struct memory *memory);

/* Reads a slot (1 to 8); false where neither copy is good or nothing is stored. A slot that still
 * waits to be written reads as it will be. */
bool memory_read_slot(const struct memory *memory, memory_peek peek, uint8_t number,
                      struct memory_slot *slot);

/* Stores one half of a slot; false while the last one is still being written to another slot. */
bool memory_store(struct memory *memory, memory_peek peek, uint8_t number, uint8_t half,
                  const struct memory_half *values);

/* Adds an entry to the log and returns its number. Where too many wait, the oldest one is lost. */
uint16_t memory_log(struct memory *memory, uint32_t ms, uint8_t code, int16_t tenths);

/* Reads an entry by its number, the newest for 0; false: there is none. */
bool memory_entry(const struct memory *memory, memory_peek peek, uint16_t number,
                  struct memory_entry *entry);

#endif
