#include "unit.h"

#include <stddef.h>

/* What is worked out before a line is composed. */
struct shown {
    struct memory_entry entry;
    struct memory_slot slot;
    uint32_t value; /* of a reply that has one */
    uint16_t q;
    uint16_t line_number;
    uint16_t inputs;
    uint16_t presence_left_s;
    int16_t temperature[SAFETY_HALVES];
    int16_t cold[SAFETY_HALVES];
    int16_t trip;
    int16_t setpoint_most;
    int16_t ceiling;
    uint8_t slot_number;
    uint8_t window_left_s;
    uint8_t why;
    uint8_t is_relay;
    uint8_t major;
    uint8_t minor;
};

/* Where a field's value lies: an offset in struct unit, or with SHOWN in struct shown, and its
 * size. */
#define SIZE1 0x0000u
#define SIZE2 0x4000u
#define SIZE4 0x8000u
#define SIGNED2 0xC000u
#define SIZES 0xC000u
#define SHOWN 0x2000u
#define OFFSET 0x1FFFu
#define END 0xFFFFu

#define OF_UNIT(size, field) (uint16_t)((size) | offsetof(struct unit, field))
#define OF_SHOWN(size, field) (uint16_t)((size) | SHOWN | offsetof(struct shown, field))

/* The fields of every kind that the board sends, in the order of enum wire_kind and of the page. */
static const IN_FLASH uint16_t SOURCES[] = {
    /* boot */
    OF_UNIT(SIZE2, memory.boots),
    OF_UNIT(SIZE1, cause),
    OF_UNIT(SIZE4, build.id),
    OF_UNIT(SIZE1, safety.latch),
    END,
    /* here */
    OF_SHOWN(SIZE2, q),
    OF_SHOWN(SIZE1, major),
    OF_SHOWN(SIZE1, minor),
    OF_UNIT(SIZE4, build.id),
    OF_UNIT(SIZE4, memory.board_id[0]),
    OF_UNIT(SIZE4, memory.board_id[1]),
    OF_UNIT(SIZE2, memory.boots),
    OF_UNIT(SIZE1, cause),
    OF_UNIT(SIZE1, safety.latch),
    OF_SHOWN(SIZE4, value),
    END,
    /* limits */
    OF_SHOWN(SIZE2, q),
    OF_SHOWN(SIGNED2, ceiling),
    OF_SHOWN(SIGNED2, trip),
    OF_SHOWN(SIGNED2, setpoint_most),
    OF_UNIT(SIZE2, build.output.cap),
    OF_UNIT(SIZE2, build.output.window_ms),
    OF_SHOWN(SIZE1, is_relay),
    OF_UNIT(SIZE1, build.zones),
    OF_UNIT(SIZE1, build.fit),
    END,
    /* mould */
    OF_SHOWN(SIZE2, q),
    OF_SHOWN(SIZE1, slot_number),
    OF_UNIT(SIZE1, memory.used),
    OF_SHOWN(SIZE2, slot.half[0].rise),
    OF_SHOWN(SIZE2, slot.half[0].lag),
    OF_SHOWN(SIZE2, slot.half[0].up),
    OF_SHOWN(SIZE2, slot.half[1].rise),
    OF_SHOWN(SIZE2, slot.half[1].lag),
    OF_SHOWN(SIZE2, slot.half[1].up),
    END,
    /* challenge */
    OF_SHOWN(SIZE2, q),
    OF_SHOWN(SIZE4, value),
    END,
    /* entry */
    OF_SHOWN(SIZE2, q),
    OF_SHOWN(SIZE2, entry.number),
    OF_SHOWN(SIZE2, entry.boot),
    OF_SHOWN(SIZE4, entry.ms),
    OF_SHOWN(SIZE1, entry.code),
    OF_SHOWN(SIGNED2, entry.tenths),
    OF_UNIT(SIZE2, memory.newest),
    END,
    /* done */
    OF_SHOWN(SIZE2, q),
    END,
    /* refused */
    OF_SHOWN(SIZE2, q),
    OF_SHOWN(SIZE4, value),
    END,
    /* tele */
    OF_SHOWN(SIZE2, line_number),
    OF_UNIT(SIZE4, read_ms),
    OF_SHOWN(SIGNED2, temperature[0]),
    OF_UNIT(SIZE4, sense[0].raw),
    OF_UNIT(SIZE2, sense[0].count),
    OF_UNIT(SIZE2, delivered_ms[0]),
    OF_SHOWN(SIGNED2, temperature[1]),
    OF_UNIT(SIZE4, sense[1].raw),
    OF_UNIT(SIZE2, sense[1].count),
    OF_UNIT(SIZE2, delivered_ms[1]),
    OF_UNIT(SIZE1, safety.state),
    OF_UNIT(SIZE1, safety.latch),
    OF_SHOWN(SIZE2, inputs),
    OF_UNIT(SIZE1, next.count),
    OF_UNIT(SIZE2, force),
    END,
    /* stat */
    OF_UNIT(SIZE4, now_ms),
    OF_SHOWN(SIZE1, why),
    OF_SHOWN(SIGNED2, cold[0]),
    OF_SHOWN(SIGNED2, cold[1]),
    OF_UNIT(SIZE4, memory.operations),
    OF_UNIT(SIZE2, receiver.bad),
    OF_UNIT(SIZE2, receiver.unknown),
    OF_UNIT(SIZE2, longest_pass),
    OF_UNIT(SIZE1, identity),
    OF_SHOWN(SIZE1, window_left_s),
    OF_SHOWN(SIZE2, presence_left_s),
    END,
    /* event */
    OF_SHOWN(SIZE2, entry.number),
    OF_SHOWN(SIZE2, entry.boot),
    OF_SHOWN(SIZE4, entry.ms),
    OF_SHOWN(SIZE1, entry.code),
    OF_SHOWN(SIGNED2, entry.tenths),
    END,
};

_Static_assert(sizeof(struct unit) <= SHOWN, "a field of the unit lies out of reach");
_Static_assert(sizeof(enum unit_cause) == 1u || sizeof(int) > 2u, "enums are bytes");

/* The lowest byte comes first in memory, on the controller and on the machines that test this. */
static uint32_t value_at(const uint8_t *from, uint16_t size)
{
    uint16_t low = from[0];
    if (size == SIZE1) {
        return low;
    }
    low = (uint16_t)(low | (uint16_t)((uint16_t)from[1] << 8));
    if (size == SIGNED2) {
        return (uint32_t)(int32_t)(int16_t)low;
    }
    if (size == SIZE2) {
        return low;
    }
    return low | (uint32_t)((uint32_t)from[2] << 16) | (uint32_t)((uint32_t)from[3] << 24);
}

static void gather(const struct unit *unit, const struct shown *shown, struct wire_line *line)
{
    const IN_FLASH uint16_t *source = SOURCES;
    for (uint8_t kind = WIRE_BOOT; kind < (uint8_t)line->kind; source++) {
        if (*source == END) {
            kind++;
        }
    }
    for (uint8_t at = 0; at < WIRE_VALUES_MOST && *source != END; at++) {
        const uint8_t *base =
            (*source & SHOWN) != 0u ? (const uint8_t *)shown : (const uint8_t *)unit;
        line->value[at] = value_at(base + (*source & OFFSET), *source & SIZES);
        source++;
    }
}

static void work_out(const struct unit *unit, struct shown *shown)
{
    const struct safety *safety = &unit->safety;
    shown->line_number = (uint16_t)unit->lines;
    shown->inputs = safety->inputs;
    if (safety_is_hot(safety)) {
        shown->inputs |= SAFETY_IN_HOT;
    }
    if (safety->window) {
        shown->inputs |= SAFETY_IN_WINDOW;
    }
    for (uint8_t half = 0; half < SAFETY_HALVES; half++) {
        const struct sense *sense = &unit->sense[half];
        int16_t none = half < unit->build.zones ? WIRE_BAD : WIRE_NONE;
        shown->temperature[half] = sense->shown_good ? sense->tenths : none;
        shown->cold[half] = sense->shown_good ? sense->cold_tenths : none;
    }
    shown->presence_left_s = safety_presence_left_s(safety);
    shown->window_left_s = safety_window_left_s(safety);
    shown->why = (uint8_t)safety_reason(safety);
    shown->trip = safety_trip(safety);
    shown->setpoint_most = safety_setpoint_most(safety);
    shown->ceiling = SAFETY_CEILING;
    shown->is_relay = unit->build.output.least_ms != 0u ? 1u : 0u;
    shown->major = UNIT_PROTOCOL_MAJOR;
    shown->minor = UNIT_PROTOCOL_MINOR;
}

/* Takes the oldest reply; a log entry that has gone since it was asked for is refused. */
static enum wire_kind take_reply(struct unit *unit, struct shown *shown)
{
    enum wire_kind kind = unit->replies[0].kind;
    shown->q = unit->replies[0].q;
    shown->value = unit->replies[0].value;
    unit->replies_waiting = (uint8_t)(unit->replies_waiting - 1u);
    for (uint8_t at = 0; at < unit->replies_waiting; at++) {
        unit->replies[at] = unit->replies[at + 1u];
    }
    if (kind == WIRE_MOULD) {
        shown->slot_number = (uint8_t)shown->value;
        (void)memory_read_slot(&unit->memory, unit->peek, shown->slot_number, &shown->slot);
    }
    if (kind == WIRE_ENTRY &&
        !memory_entry(&unit->memory, unit->peek, (uint16_t)shown->value, &shown->entry)) {
        kind = WIRE_REFUSED;
        shown->value = WIRE_WHY_EMPTY;
    }
    return kind;
}

/* Chooses what is sent next; WIRE_KINDS: nothing. An event overwritten meanwhile is passed over. */
static enum wire_kind choose(struct unit *unit, struct shown *shown)
{
    if (unit->boot_due) {
        unit->boot_due = false;
        return WIRE_BOOT;
    }
    /* Whoever asks without end keeps the line from no telemetry. */
    if (unit->replies_waiting != 0u && !(unit->tele_due && unit->replied)) {
        unit->replied = true;
        return take_reply(unit, shown);
    }
    unit->replied = false;
    if (unit->tele_due) {
        unit->tele_due = false;
        unit->lines = unit->lines + 1u;
        return WIRE_TELE;
    }
    if (unit->event_sent != unit->memory.newest) {
        unit->event_sent = (uint16_t)(unit->event_sent % 65535u + 1u);
        bool found = memory_entry(&unit->memory, unit->peek, unit->event_sent, &shown->entry);
        return found ? WIRE_EVENT : WIRE_KINDS;
    }
    if (unit->stat_due) {
        unit->stat_due = false;
        return WIRE_STAT;
    }
    return WIRE_KINDS;
}

bool unit_has_line(const struct unit *unit)
{
    return unit->boot_due || unit->replies_waiting != 0u || unit->tele_due || unit->stat_due ||
           unit->event_sent != unit->memory.newest;
}

uint8_t unit_line(struct unit *unit, uint8_t bytes[WIRE_FROM_BOARD_ROOM])
{
    struct shown shown = {0};
    struct wire_line line = {0};
    work_out(unit, &shown);
    line.kind = choose(unit, &shown);
    if (line.kind == WIRE_KINDS) {
        return 0;
    }
    gather(unit, &shown, &line);
    if (line.kind == WIRE_STAT) {
        unit->longest_pass = 0;
    }
    return wire_write(&line, bytes);
}
