#include "record.h"

#include <stddef.h>

_Static_assert(sizeof(struct memory_slot) == RECORD_SLOT, "a slot has no gaps");
_Static_assert(offsetof(struct memory, boots) == offsetof(struct memory, operations) + 4u,
               "nor have the counters");
_Static_assert((MEMORY_LOG_ENTRIES & (MEMORY_LOG_ENTRIES - 1u)) == 0u, "the ring is masked");

/* In the order of writing; a bit of `dirty` each, but for the identity, which is never written. */
enum record { LATCH, TRIP, USED, SLOT, COUNTERS, LOG, ID };

#define BIT(record) ((uint8_t)(1u << (record)))

struct place {
    uint16_t address; /* of the first copy */
    uint8_t count;    /* bytes without the CRC */
    uint8_t offset;   /* of the bytes in struct memory */
};

/* Where those stand that are kept as they lie in struct memory. */
static const IN_FLASH struct place places[] = {
    [LATCH] = {RECORD_AT_LATCH, 1, offsetof(struct memory, latch)},
    [TRIP] = {RECORD_AT_TRIP, 2, offsetof(struct memory, trip)},
    [USED] = {RECORD_AT_USED, 1, offsetof(struct memory, used)},
    [SLOT] = {0, RECORD_SLOT, offsetof(struct memory, to_write)},
    [COUNTERS] = {RECORD_AT_COUNTERS, 6, offsetof(struct memory, operations)},
    [LOG] = {0, RECORD_ENTRY, 0},
    [ID] = {RECORD_AT_ID, 8, offsetof(struct memory, board_id)},
};

static void copy_bytes(uint8_t *to, const uint8_t *from, uint8_t count)
{
    for (uint8_t at = 0; at < count; at++) {
        to[at] = from[at];
    }
}

/* Takes what is stored; what was there stays where neither copy is good. */
static void start_value(struct memory *memory, memory_peek peek, enum record record,
                        struct record_pair *pair)
{
    const uint8_t count = places[record].count;
    const uint8_t *const from = record_load(peek, places[record].address, count, pair);
    if (from != NULL) {
        copy_bytes((uint8_t *)memory + places[record].offset, from, count);
    }
}

static uint8_t start_latch(const struct record_pair *pair)
{
    for (uint8_t copy = 0; copy < RECORD_COPIES; copy++) {
        const uint8_t latch = pair->bytes[copy][0];
        if (pair->good[copy] && latch != MEMORY_LATCH_NONE) {
            return latch < MEMORY_LATCHES ? latch : MEMORY_LATCH_SELFTEST;
        }
    }
    return pair->same ? MEMORY_LATCH_NONE : MEMORY_LATCH_SELFTEST;
}

static bool trip_is_right(int16_t tenths)
{
    return tenths >= MEMORY_TRIP_LEAST && tenths <= MEMORY_TRIP_MOST;
}

/* Returns the lower of the good copies, 0 where there is none or one cannot have been stored. */
static int16_t start_trip(const struct record_pair *pair)
{
    int16_t lowest = 0;
    for (uint8_t copy = 0; copy < RECORD_COPIES; copy++) {
        const uint8_t *const bytes = pair->bytes[copy];
        const int16_t trip = (int16_t)((uint16_t)((uint16_t)bytes[1] << 8) | bytes[0]);
        if (pair->good[copy]) {
            if (!trip_is_right(trip)) {
                return 0;
            }
            if (lowest == 0 || trip < lowest) {
                lowest = trip;
            }
        }
    }
    return lowest;
}

/* Returns how many numbers one lies behind another: 1 follows 65535. */
static uint16_t behind(uint16_t newer, uint16_t number)
{
    return (uint16_t)(newer - number - (newer < number ? 1u : 0u));
}

/* Finds the newest entry, and in it the number of a start to go on from. */
static void start_log(struct memory *memory, memory_peek peek)
{
    struct memory_entry entry;
    for (uint8_t place = 0; place < MEMORY_LOG_ENTRIES; place++) {
        if (record_load_entry(peek, place, &entry) &&
            (memory->newest == 0u || behind(entry.number, memory->newest) <= 0x7FFFu)) {
            memory->newest = entry.number;
            memory->newest_place = place;
            memory->boots = entry.boot;
        }
    }
}

/* Marks a record as waiting. Writing begins anew: bytes that hold their value are passed over. */
static void mark(struct memory *memory, enum record record)
{
    memory->dirty = (uint8_t)(memory->dirty | BIT(record));
    memory->at = 0;
}

void memory_start(struct memory *memory, memory_peek peek)
{
    struct record_pair pair;
    *memory = (struct memory){0};
    start_log(memory, peek);
    start_value(memory, peek, COUNTERS, &pair);
    memory->boots++;
    start_value(memory, peek, ID, &pair);
    /* A cut between the copies would bring back the mould of before: then none is in use. */
    start_value(memory, peek, USED, &pair);
    memory_use(memory, peek, pair.same ? memory->used : 0u);
    start_value(memory, peek, LATCH, &pair);
    memory->latch = start_latch(&pair);
    start_value(memory, peek, TRIP, &pair);
    memory->trip = start_trip(&pair);
    if (memory->trip == 0) {
        memory->trip = MEMORY_TRIP_LEAST;
        if (memory->latch == MEMORY_LATCH_NONE) {
            memory->latch = MEMORY_LATCH_SELFTEST;
        }
    }
    /* Copies that differ become equal. */
    memory->dirty = BIT(LATCH) | BIT(TRIP) | BIT(USED) | BIT(COUNTERS);
}

static uint8_t place_behind(const struct memory *memory, uint8_t numbers)
{
    return (uint8_t)((uint8_t)(memory->newest_place - numbers) & (MEMORY_LOG_ENTRIES - 1u));
}

static void drop_oldest(struct memory *memory)
{
    memory->oldest = (uint8_t)((memory->oldest + 1u) % MEMORY_QUEUE);
    memory->queued--;
}

bool memory_next(struct memory *memory, memory_peek peek, uint16_t *address, uint8_t *value)
{
    uint8_t record = LATCH;
    uint8_t bit = BIT(LATCH);
    struct memory_entry entry;
    bool found = false;
    if (memory->dirty == 0u) {
        return false;
    }
    while ((memory->dirty & bit) == 0u) {
        bit = (uint8_t)(bit << 1);
        record++;
    }
    const uint8_t count = places[record].count;
    const uint8_t *bytes = (const uint8_t *)memory + places[record].offset;
    uint16_t first = places[record].address;
    if (record == LOG) {
        const uint8_t followers = (uint8_t)(memory->queued - 1u);
        const uint16_t newest = memory->newest;
        (void)memory_entry(
            memory, peek, (uint16_t)(newest - followers - (newest <= followers ? 1u : 0u)), &entry);
        bytes = (const uint8_t *)&entry;
        first = record_at_entry(place_behind(memory, followers));
    } else if (record == SLOT) {
        first = record_at_slot(memory->dirty_slot);
    }
    const uint8_t steps = record_steps(count, record == LOG);
    while (memory->at < steps && !found) {
        *address = first;
        *value = record_byte(bytes, count, record == LOG, memory->at, address);
        found = peek(*address) != *value;
        memory->at++;
    }
    if (memory->at == steps) {
        memory->at = 0;
        if (record == LOG) {
            drop_oldest(memory);
        }
        if (record != LOG || memory->queued == 0u) {
            memory->dirty = (uint8_t)(memory->dirty & ~bit);
        }
    }
    return found;
}

int16_t memory_trip(const struct memory *memory)
{
    return memory->trip;
}

void memory_set_latch(struct memory *memory, uint8_t latch)
{
    if (latch != memory->latch) {
        memory->latch = latch < MEMORY_LATCHES ? latch : MEMORY_LATCH_SELFTEST;
        mark(memory, LATCH);
    }
}

void memory_set_trip(struct memory *memory, int16_t tenths)
{
    if (tenths != memory->trip) {
        memory->trip = trip_is_right(tenths) ? tenths : MEMORY_TRIP_LEAST;
        mark(memory, TRIP);
    }
}

void memory_use(struct memory *memory, memory_peek peek, uint8_t slot)
{
    memory->used = slot <= MEMORY_SLOTS ? slot : 0u;
    if (!memory_read_slot(memory, peek, memory->used, &memory->slot)) {
        memory->slot = (struct memory_slot){0};
    }
    mark(memory, USED);
}

void memory_count_operation(struct memory *memory)
{
    memory->operations++;
    mark(memory, COUNTERS);
}

static bool slot_waits(const struct memory *memory)
{
    return (memory->dirty & BIT(SLOT)) != 0u;
}

bool memory_read_slot(const struct memory *memory, memory_peek peek, uint8_t number,
                      struct memory_slot *slot)
{
    struct record_pair pair;
    const uint8_t *from = (const uint8_t *)&memory->to_write;
    bool stored = false;
    if (number == 0u || number > MEMORY_SLOTS) {
        return false;
    }
    if (!slot_waits(memory) || number != memory->dirty_slot) {
        from = record_load(peek, record_at_slot(number), RECORD_SLOT, &pair);
        if (from == NULL || (pair.good[0] && pair.good[1] && !pair.same)) {
            return false;
        }
    }
    copy_bytes((uint8_t *)slot, from, RECORD_SLOT);
    for (uint8_t half = 0; half < 2u; half++) {
        if (slot->half[half].rise != 0u) {
            stored = true;
            /* Among erased bytes one that flips may make a CRC right: the others say FFFF, or 0. */
            if (slot->half[half].rise > MEMORY_RISE_MOST || slot->half[half].lag == 0u) {
                return false;
            }
        }
    }
    return stored;
}

bool memory_store(struct memory *memory, memory_peek peek, uint8_t number, uint8_t half,
                  const struct memory_half *values)
{
    if (number == 0u || number > MEMORY_SLOTS || half > 1u ||
        (slot_waits(memory) && number != memory->dirty_slot)) {
        return false;
    }
    if (!memory_read_slot(memory, peek, number, &memory->to_write)) {
        memory->to_write = (struct memory_slot){0};
    }
    memory->to_write.half[half] = *values;
    memory->dirty_slot = number;
    mark(memory, SLOT);
    if (number == memory->used) {
        memory->slot = memory->to_write;
    }
    return true;
}

uint16_t memory_log(struct memory *memory, uint32_t ms, uint8_t code, int16_t tenths)
{
    if (memory->queued == MEMORY_QUEUE) {
        drop_oldest(memory);
    }
    struct memory_waiting *const waiting =
        &memory->queue[(uint8_t)(memory->oldest + memory->queued) % MEMORY_QUEUE];
    waiting->ms = ms;
    waiting->tenths = tenths;
    waiting->code = code;
    memory->queued++;
    memory->newest++;
    if (memory->newest == 0u) {
        memory->newest = 1;
    }
    memory->newest_place = (uint8_t)((memory->newest_place + 1u) & (MEMORY_LOG_ENTRIES - 1u));
    mark(memory, LOG);
    return memory->newest;
}

bool memory_entry(const struct memory *memory, memory_peek peek, uint16_t number,
                  struct memory_entry *entry)
{
    const uint16_t wanted = number != 0u ? number : memory->newest;
    const uint16_t numbers = behind(memory->newest, wanted);
    if (wanted == 0u || memory->newest == 0u || numbers >= MEMORY_LOG_ENTRIES) {
        return false;
    }
    if (numbers < memory->queued) {
        const struct memory_waiting *const waiting =
            &memory->queue[(uint8_t)(memory->oldest + memory->queued - 1 - (uint8_t)numbers) %
                           MEMORY_QUEUE];
        entry->ms = waiting->ms;
        entry->number = wanted;
        entry->boot = memory->boots;
        entry->tenths = waiting->tenths;
        entry->code = waiting->code;
        return true;
    }
    return record_load_entry(peek, place_behind(memory, (uint8_t)numbers), entry) &&
           entry->number == wanted;
}
