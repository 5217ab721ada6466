#include "record.h"

#include <stddef.h>

#define WHOLE_SLOT (RECORD_COPIES * (RECORD_SLOT + 1u))
#define WHOLE_ENTRY (RECORD_ENTRY + 1u)
#define AT_SLOTS 48u
#define AT_LOG 256u
#define NO_CODE 0xFFu /* of an entry that is being written */

_Static_assert(AT_SLOTS + MEMORY_SLOTS * WHOLE_SLOT == AT_LOG, "the slots end at the log");
_Static_assert(AT_LOG + MEMORY_LOG_ENTRIES * WHOLE_ENTRY == MEMORY_BYTES, "the log ends it all");
_Static_assert(offsetof(struct memory_entry, code) + 1u == RECORD_ENTRY,
               "the code is the last byte of an entry, which has no gaps");

uint16_t record_at_slot(uint8_t number)
{
    return (uint16_t)(AT_SLOTS + (number - 1u) * WHOLE_SLOT);
}

uint16_t record_at_entry(uint8_t place)
{
    return (uint16_t)(AT_LOG + place * WHOLE_ENTRY);
}

static uint8_t crc_of(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    uint8_t crc = (uint8_t)address;
    for (uint8_t at = 0; at < count; at++) {
        crc ^= bytes[at];
        for (uint8_t bit = 0; bit < 8u; bit++) {
            const uint8_t carried = (crc & 0x80u) != 0u ? 0x07u : 0u;
            crc = (uint8_t)((uint8_t)(crc << 1) ^ carried);
        }
    }
    return crc;
}

/* Reads one copy; returns whether its CRC is right. */
static bool load(memory_peek peek, uint16_t address, uint8_t count, uint8_t flip, uint8_t *bytes)
{
    for (uint8_t at = 0; at < count; at++) {
        bytes[at] = peek((uint16_t)(address + 1u + at)) ^ flip;
    }
    return (peek(address) ^ flip) == crc_of(address, bytes, count);
}

const uint8_t *record_load(memory_peek peek, uint16_t address, uint8_t count,
                           struct record_pair *pair)
{
    pair->good[0] = load(peek, address, count, 0x00u, pair->bytes[0]);
    pair->good[1] = load(peek, (uint16_t)(address + count + 1u), count, 0xFFu, pair->bytes[1]);
    pair->same = pair->good[0] && pair->good[1];
    for (uint8_t at = 0; at < count; at++) {
        pair->same = pair->same && pair->bytes[0][at] == pair->bytes[1][at];
    }
    if (pair->good[0]) {
        return pair->bytes[0];
    }
    return pair->good[1] ? pair->bytes[1] : NULL;
}

bool record_load_entry(memory_peek peek, uint8_t place, struct memory_entry *entry)
{
    const bool good = load(peek, record_at_entry(place), RECORD_ENTRY, 0x00u, (uint8_t *)entry);
    return good && entry->code != NO_CODE && entry->number != 0u;
}

uint8_t record_steps(uint8_t count, bool entry)
{
    return (uint8_t)(entry ? count + 2u : RECORD_COPIES * (count + 1u));
}

/* Of an entry the code goes first, as none, and last: whatever stands there in between is no entry,
 * even where its CRC is right by chance. */
uint8_t record_byte(const uint8_t *bytes, uint8_t count, bool entry, uint8_t step,
                    uint16_t *address)
{
    const uint8_t whole = (uint8_t)(count + 1u);
    const bool second = !entry && step >= whole;
    const uint16_t copy = second ? (uint16_t)(*address + whole) : *address;
    uint8_t at = second ? (uint8_t)(step - whole) : step;
    if (entry) {
        at = step == 0u ? count : (uint8_t)(step - 1u);
    }
    *address = (uint16_t)(copy + at);
    if (entry && step == 0u) {
        return NO_CODE;
    }
    const uint8_t byte = at == 0u ? crc_of(copy, bytes, count) : bytes[at - 1u];
    return second ? (uint8_t)~byte : byte;
}
