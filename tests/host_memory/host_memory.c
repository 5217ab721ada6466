#include "host_memory.h"

#include <stdlib.h>

static struct host_memory *present; /* whose array is read */

static uint8_t peek(uint16_t address)
{
    if (address >= MEMORY_BYTES) {
        abort();
    }
    present->peeks++;
    return present->eeprom[address];
}

void host_memory_start(struct host_memory *host)
{
    present = host;
    memory_start(&host->memory, peek);
}

bool host_memory_step(struct host_memory *host)
{
    return host_memory_cut(host, 1, -1) == 1u;
}

/* Asks until there is a byte to write or nothing waits. */
static bool next_byte(struct host_memory *host, uint16_t *address, uint8_t *value)
{
    present = host;
    while (host->memory.dirty != 0u) {
        if (memory_next(&host->memory, peek, address, value)) {
            return true;
        }
    }
    return memory_next(&host->memory, peek, address, value);
}

uint32_t host_memory_cut(struct host_memory *host, uint32_t whole, int left)
{
    uint32_t done = 0;
    uint16_t address;
    uint8_t value;
    while (done < whole && next_byte(host, &address, &value)) {
        if (address >= MEMORY_BYTES) {
            abort();
        }
        host->eeprom[address] = value;
        host->writes[address]++;
        host->address = address;
        done++;
    }
    if (left >= 0 && next_byte(host, &address, &value)) {
        host->eeprom[address] = (uint8_t)left;
    }
    return done;
}

void host_memory_set_latch(struct host_memory *host, uint8_t latch)
{
    memory_set_latch(&host->memory, latch);
}

void host_memory_set_trip(struct host_memory *host, int16_t tenths)
{
    memory_set_trip(&host->memory, tenths);
}

void host_memory_use(struct host_memory *host, uint8_t slot)
{
    present = host;
    memory_use(&host->memory, peek, slot);
}

void host_memory_count(struct host_memory *host)
{
    memory_count_operation(&host->memory);
}

bool host_memory_read_slot(struct host_memory *host, uint8_t number, struct memory_slot *slot)
{
    present = host;
    return memory_read_slot(&host->memory, peek, number, slot);
}

bool host_memory_store(struct host_memory *host, uint8_t number, uint8_t half,
                       const struct memory_half *values)
{
    present = host;
    return memory_store(&host->memory, peek, number, half, values);
}

uint16_t host_memory_log(struct host_memory *host, uint32_t ms, uint8_t code, int16_t tenths)
{
    return memory_log(&host->memory, ms, code, tenths);
}

bool host_memory_entry(struct host_memory *host, uint16_t number, struct memory_entry *entry)
{
    present = host;
    return memory_entry(&host->memory, peek, number, entry);
}
