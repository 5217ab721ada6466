/* The board's lasting memory on an array: what is written, byte by byte, and how often. */
#ifndef HOST_MEMORY_H
#define HOST_MEMORY_H

#include "memory.h"

struct host_memory {
    struct memory memory;
    uint8_t eeprom[MEMORY_BYTES];
    uint32_t writes[MEMORY_BYTES];
    uint32_t peeks;
    uint16_t address; /* of the last write */
};

/* A reset: reads the array. */
void host_memory_start(struct host_memory *host);

/* Writes the next byte that waits; false: nothing waits. */
bool host_memory_step(struct host_memory *host);

/* Writes so many bytes; then the power goes while the next one is written, which leaves `left` in
 * its cell, or before that where `left` is below 0. Returns the bytes written whole. */
uint32_t host_memory_cut(struct host_memory *host, uint32_t whole, int left);

void host_memory_set_latch(struct host_memory *host, uint8_t latch);
void host_memory_set_trip(struct host_memory *host, int16_t tenths);
void host_memory_use(struct host_memory *host, uint8_t slot);
void host_memory_count(struct host_memory *host);
bool host_memory_read_slot(struct host_memory *host, uint8_t number, struct memory_slot *slot);
bool host_memory_store(struct host_memory *host, uint8_t number, uint8_t half,
                       const struct memory_half *values);
uint16_t host_memory_log(struct host_memory *host, uint32_t ms, uint8_t code, int16_t tenths);
bool host_memory_entry(struct host_memory *host, uint16_t number, struct memory_entry *entry);

#endif
