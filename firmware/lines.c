#include "unit.h"

static uint32_t signed_value(int16_t tenths)
{
    return (uint32_t)(int32_t)tenths;
}

static void put(struct wire_line *line, uint8_t *at, uint32_t value)
{
    line->value[*at] = value;
    *at = (uint8_t)(*at + 1u);
}

static void compose_here(const struct unit *unit, struct wire_line *line, uint32_t token)
{
    uint8_t at = 1;
    put(line, &at, UNIT_PROTOCOL_MAJOR);
    put(line, &at, UNIT_PROTOCOL_MINOR);
    put(line, &at, unit->build.id);
    put(line, &at, unit->memory.board_id[0]);
    put(line, &at, unit->memory.board_id[1]);
    put(line, &at, unit->memory.boots);
    put(line, &at, (uint32_t)unit->cause);
    put(line, &at, unit->safety.latch);
    put(line, &at, token);
}

static void compose_limits(const struct unit *unit, struct wire_line *line)
{
    uint8_t at = 1;
    put(line, &at, SAFETY_CEILING);
    put(line, &at, signed_value(safety_trip(&unit->safety)));
    put(line, &at, signed_value(safety_setpoint_most(&unit->safety)));
    put(line, &at, unit->build.output.cap);
    put(line, &at, unit->build.output.window_ms);
    put(line, &at, unit->build.output.least_ms != 0u ? 1u : 0u);
    put(line, &at, unit->build.zones);
    put(line, &at, unit->build.fit);
}

static void compose_mould(const struct unit *unit, struct wire_line *line, uint8_t number)
{
    struct memory_slot slot = {0};
    uint8_t at = 1;
    if (number != 0u) {
        (void)memory_read_slot(&unit->memory, unit->peek, number, &slot);
    }
    put(line, &at, number);
    put(line, &at, unit->memory.used);
    for (uint8_t half = 0; half < SAFETY_HALVES; half++) {
        put(line, &at, slot.half[half].rise);
        put(line, &at, slot.half[half].lag);
        put(line, &at, slot.half[half].up);
    }
}

static void put_entry(const struct memory_entry *entry, struct wire_line *line, uint8_t *at)
{
    put(line, at, entry->number);
    put(line, at, entry->boot);
    put(line, at, entry->ms);
    put(line, at, entry->code);
    put(line, at, signed_value(entry->tenths));
}

/* Composes a reply; a log entry that has gone since it was asked for is refused. */
static void compose_reply(const struct unit *unit, struct wire_line *line,
                          const struct unit_reply *reply)
{
    struct memory_entry entry;
    uint8_t at = 1;
    line->kind = reply->kind;
    line->value[0] = reply->q;
    switch ((uint8_t)reply->kind) {
    case WIRE_HERE:
        compose_here(unit, line, reply->value);
        break;
    case WIRE_LIMITS:
        compose_limits(unit, line);
        break;
    case WIRE_MOULD:
        compose_mould(unit, line, (uint8_t)reply->value);
        break;
    case WIRE_ENTRY:
        if (memory_entry(&unit->memory, unit->peek, (uint16_t)reply->value, &entry)) {
            put_entry(&entry, line, &at);
            put(line, &at, unit->memory.newest);
        } else {
            line->kind = WIRE_REFUSED;
            put(line, &at, WIRE_WHY_EMPTY);
        }
        break;
    default: /* one value, or none */
        put(line, &at, reply->value);
        break;
    }
}

static void compose_half(const struct unit *unit, struct wire_line *line, uint8_t *at, uint8_t half)
{
    const struct sense *sense = &unit->sense[half];
    if (half >= unit->build.zones) {
        put(line, at, WIRE_NONE);
    } else {
        put(line, at, sense->shown_good ? signed_value(sense->tenths) : WIRE_BAD);
    }
    put(line, at, sense->raw);
    put(line, at, sense->count);
    put(line, at, unit->delivered_ms[half]);
}

static void compose_tele(const struct unit *unit, struct wire_line *line)
{
    uint16_t inputs = unit->safety.inputs;
    uint8_t at = 0;
    if (safety_is_hot(&unit->safety)) {
        inputs |= SAFETY_IN_HOT;
    }
    if (unit->safety.window) {
        inputs |= SAFETY_IN_WINDOW;
    }
    line->kind = WIRE_TELE;
    put(line, &at, (uint16_t)unit->lines);
    put(line, &at, unit->read_ms);
    compose_half(unit, line, &at, SAFETY_UPPER);
    compose_half(unit, line, &at, SAFETY_LOWER);
    put(line, &at, unit->safety.state);
    put(line, &at, unit->safety.latch);
    put(line, &at, inputs);
    put(line, &at, unit->next.count);
    put(line, &at, unit->force);
}

static uint32_t cold_of(const struct unit *unit, uint8_t half)
{
    const struct sense *sense = &unit->sense[half];
    if (half >= unit->build.zones) {
        return WIRE_NONE;
    }
    return sense->shown_good ? signed_value(sense->cold_tenths) : WIRE_BAD;
}

static void compose_stat(const struct unit *unit, struct wire_line *line, uint32_t now_ms)
{
    uint8_t at = 0;
    line->kind = WIRE_STAT;
    put(line, &at, now_ms);
    put(line, &at, safety_reason(&unit->safety));
    put(line, &at, cold_of(unit, SAFETY_UPPER));
    put(line, &at, cold_of(unit, SAFETY_LOWER));
    put(line, &at, unit->memory.operations);
    put(line, &at, unit->receiver.bad);
    put(line, &at, unit->receiver.unknown);
    put(line, &at, unit->longest_pass);
    put(line, &at, unit->identity);
    put(line, &at, safety_window_left_s(&unit->safety));
    put(line, &at, safety_presence_left_s(&unit->safety));
}

static void compose_boot(const struct unit *unit, struct wire_line *line)
{
    uint8_t at = 0;
    line->kind = WIRE_BOOT;
    put(line, &at, unit->memory.boots);
    put(line, &at, (uint32_t)unit->cause);
    put(line, &at, unit->build.id);
    put(line, &at, unit->safety.latch);
}

/* Composes the event after the last one sent; entries overwritten meanwhile are passed over. */
static bool compose_event(struct unit *unit, struct wire_line *line)
{
    struct memory_entry entry;
    uint8_t at = 0;
    unit->event_sent = (uint16_t)(unit->event_sent % 65535u + 1u);
    line->kind = WIRE_EVENT;
    if (!memory_entry(&unit->memory, unit->peek, unit->event_sent, &entry)) {
        return false;
    }
    put_entry(&entry, line, &at);
    return true;
}

static bool compose_due(struct unit *unit, struct wire_line *line, uint32_t now_ms)
{
    if (unit->boot_due) {
        unit->boot_due = false;
        compose_boot(unit, line);
        return true;
    }
    if (unit->replies_waiting != 0u) {
        compose_reply(unit, line, &unit->replies[0]);
        unit->replies_waiting = (uint8_t)(unit->replies_waiting - 1u);
        for (uint8_t at = 0; at < unit->replies_waiting; at++) {
            unit->replies[at] = unit->replies[at + 1u];
        }
        return true;
    }
    if (unit->tele_due) {
        unit->tele_due = false;
        compose_tele(unit, line);
        unit->lines = unit->lines + 1u;
        return true;
    }
    if (unit->event_sent != unit->memory.newest) {
        return compose_event(unit, line);
    }
    if (unit->stat_due) {
        unit->stat_due = false;
        compose_stat(unit, line, now_ms);
        unit->longest_pass = 0;
        return true;
    }
    return false;
}

bool unit_has_line(const struct unit *unit)
{
    return unit->boot_due || unit->replies_waiting != 0u || unit->tele_due || unit->stat_due ||
           unit->event_sent != unit->memory.newest;
}

uint8_t unit_line(struct unit *unit, uint8_t bytes[WIRE_FROM_BOARD_MOST], uint32_t now_ms)
{
    struct wire_line line = {0};
    return compose_due(unit, &line, now_ms) ? wire_write(&line, bytes) : 0u;
}
