#include "unit.h"

#define RISE_MOST 5000u /* mK/s */
#define LAG_MOST 3000u  /* tenths of a second */
#define UP_LEAST 60u    /* seconds */
#define UP_MOST 7200u
#define VALUES_MOST 8u /* of a request */

/* What a request leads to: its own reply, `done`, or a refusal. */
struct outcome {
    uint32_t value;
    enum wire_kind kind;
};

static struct outcome reply_with(enum wire_kind kind, uint32_t value)
{
    struct outcome outcome = {.value = value, .kind = kind};
    return outcome;
}

static struct outcome done(void)
{
    return reply_with(WIRE_DONE, 0);
}

static struct outcome refuse(enum wire_refusal why)
{
    return reply_with(WIRE_REFUSED, why);
}

static bool is_echo(const struct unit *unit, uint16_t counter, uint32_t now_ms)
{
    uint16_t lines_ago = (uint16_t)(unit->lines - 1u - counter);
    if (lines_ago >= unit->lines || lines_ago > UNIT_ECHO_MS / SAFETY_READ_MS) {
        return false;
    }
    uint32_t since_ms = now_ms - unit->read_ms;
    return since_ms <= UNIT_ECHO_MS &&
           since_ms + (uint32_t)lines_ago * SAFETY_READ_MS <= UNIT_ECHO_MS;
}

static bool is_fitted(const struct unit *unit, uint16_t half)
{
    return half < unit->build.zones;
}

static struct outcome hello(struct unit *unit, const uint16_t *value)
{
    uint32_t token = 0;
    if (value[1] == UNIT_PROTOCOL_MAJOR) {
        if (unit->session.token != 0u) {
            return refuse(WIRE_WHY_BUSY);
        }
        token = session_open(&unit->session, unit->memory.boots, value[0]);
        safety_open_session(&unit->safety);
    }
    return reply_with(WIRE_HERE, token);
}

static struct outcome show_mould(const struct unit *unit, uint16_t slot)
{
    if (slot > MEMORY_SLOTS) {
        return refuse(WIRE_WHY_SLOT);
    }
    return reply_with(WIRE_MOULD, slot != 0u ? slot : unit->memory.used);
}

static struct outcome use(struct unit *unit, uint16_t number)
{
    struct memory_slot slot;
    if (number < 1u || number > MEMORY_SLOTS ||
        !memory_read_slot(&unit->memory, unit->peek, (uint8_t)number, &slot)) {
        return refuse(WIRE_WHY_SLOT);
    }
    if (unit->safety.state == SAFETY_ARMED) {
        return refuse(WIRE_WHY_STATE);
    }
    if (number != unit->memory.used) {
        memory_use(&unit->memory, unit->peek, (uint8_t)number);
        unit_judge_by_slot(unit, SAFETY_EVENT_USED);
    }
    return done();
}

static struct outcome store(struct unit *unit, const uint16_t *value)
{
    if (value[0] < 1u || value[0] > MEMORY_SLOTS) {
        return refuse(WIRE_WHY_SLOT);
    }
    if (!is_fitted(unit, value[1]) || value[2] < 1u || value[2] > RISE_MOST || value[3] < 1u ||
        value[3] > LAG_MOST || value[4] < UP_LEAST || value[4] > UP_MOST) {
        return refuse(WIRE_WHY_RANGE);
    }
    if (unit->safety.state == SAFETY_ARMED) {
        return refuse(WIRE_WHY_STATE);
    }
    if (!unit->arm.held) {
        return refuse(WIRE_WHY_HAND);
    }
    struct memory_half half = {
        .rise = value[2],
        .lag = value[3],
        .up = value[4],
    };
    if (!memory_store(&unit->memory, unit->peek, (uint8_t)value[0], (uint8_t)value[1], &half)) {
        return refuse(WIRE_WHY_RATE);
    }
    unit_judge_by_slot(unit, SAFETY_EVENT_STORED);
    return done();
}

static bool expiry_is_right(uint16_t expiry_ms)
{
    return expiry_ms >= SAFETY_EXPIRY_LEAST_MS && expiry_ms <= SAFETY_EXPIRY_MOST_MS;
}

/* Values: upper duty and setpoint, lower duty and setpoint, echo, expiry. */
static struct outcome duty(struct unit *unit, const uint16_t *value, uint32_t now_ms)
{
    uint16_t upper = value[0];
    uint16_t lower = value[2];
    uint16_t most = value[1] > value[3] ? value[1] : value[3];
    if (!is_echo(unit, value[4], now_ms)) {
        return refuse(WIRE_WHY_ECHO);
    }
    if (!expiry_is_right(value[5]) || (upper != 0u && value[1] == 0u) ||
        (lower != 0u && value[3] == 0u) ||
        ((lower != 0u || value[3] != 0u) && !is_fitted(unit, SAFETY_LOWER))) {
        return refuse(WIRE_WHY_RANGE);
    }
    if (most > (uint16_t)safety_setpoint_most(&unit->safety)) {
        return refuse(WIRE_WHY_LIMIT);
    }
    if (!safety_take_duty(&unit->safety, upper != 0u || lower != 0u)) {
        return refuse(WIRE_WHY_STATE);
    }
    unit->setpoint[SAFETY_UPPER] = value[1];
    unit->setpoint[SAFETY_LOWER] = value[3];
    if (unit->safety.heats == 0u) {
        output_take(&unit->output, now_ms, upper, lower, now_ms + value[5]);
    }
    return done();
}

static struct outcome ask_to_arm(struct unit *unit, uint32_t now_ms)
{
    if (unit->safety.state != SAFETY_READY) {
        return refuse(WIRE_WHY_STATE);
    }
    return reply_with(WIRE_CHALLENGE, session_ask(&unit->session, now_ms, now_ms));
}

static uint32_t crc_of_hex(uint32_t crc, uint32_t value, uint8_t digits)
{
    for (uint8_t digit = digits; digit > 0u; digit--) {
        uint8_t nibble = (uint8_t)((value >> (4u * (digit - 1u))) & 0xFu);
        crc = wire_crc_step(crc, (uint8_t)(nibble < 10u ? '0' + nibble : 'a' + nibble - 10));
    }
    return crc;
}

static struct outcome take_answer(struct unit *unit, uint32_t given)
{
    if (unit->safety.state != SAFETY_READY) {
        return refuse(WIRE_WHY_STATE);
    }
    uint32_t expected = crc_of_hex(0xFFFFFFFFu, unit->session.challenge, 8);
    expected = crc_of_hex(expected, unit->session.token, 4) ^ 0xFFFFFFFFu;
    return session_answer(&unit->session, given, expected) ? done() : refuse(WIRE_WHY_WRONG);
}

static struct outcome charge(struct unit *unit)
{
    switch (safety_charge(&unit->safety)) {
    case SAFETY_CHARGE_TAKEN:
        return done();
    case SAFETY_CHARGE_RATE:
        return refuse(WIRE_WHY_RATE);
    case SAFETY_CHARGE_STATE:
    default:
        return refuse(WIRE_WHY_STATE);
    }
}

static struct outcome set_trip(struct unit *unit, int16_t value)
{
    /* `bad` and `none` lie above the ceiling like any other number that is too high. */
    switch (safety_set_trip(&unit->safety, value, unit->arm.held)) {
    case SAFETY_TRIP_TAKEN:
        return done();
    case SAFETY_TRIP_STATE:
        return refuse(WIRE_WHY_STATE);
    case SAFETY_TRIP_HAND:
        return refuse(WIRE_WHY_HAND);
    case SAFETY_TRIP_RANGE:
    default:
        return refuse(WIRE_WHY_RANGE);
    }
}

/* Values: half, duty, echo, expiry. */
static struct outcome heat(struct unit *unit, const uint16_t *value, uint32_t now_ms)
{
    uint8_t half = (uint8_t)value[0];
    uint16_t wanted = value[1];
    if (!is_echo(unit, value[2], now_ms)) {
        return refuse(WIRE_WHY_ECHO);
    }
    if (!is_fitted(unit, half) || !expiry_is_right(value[3])) {
        return refuse(WIRE_WHY_RANGE);
    }
    switch (safety_heat(&unit->safety, half, value[3], unit->arm.held)) {
    case SAFETY_HEAT_TAKEN:
        unit_obey(unit, now_ms);
        output_take(&unit->output, now_ms, half == SAFETY_UPPER ? wanted : 0u,
                    half == SAFETY_LOWER ? wanted : 0u, now_ms + value[3]);
        return done();
    case SAFETY_HEAT_LIMIT:
        return refuse(WIRE_WHY_LIMIT);
    case SAFETY_HEAT_HAND:
        return refuse(WIRE_WHY_HAND);
    case SAFETY_HEAT_STATE:
    default:
        return refuse(WIRE_WHY_STATE);
    }
}

static struct outcome show_entry(const struct unit *unit, uint16_t number)
{
    struct memory_entry entry;
    if (!memory_entry(&unit->memory, unit->peek, number, &entry)) {
        return refuse(WIRE_WHY_EMPTY);
    }
    return reply_with(WIRE_ENTRY, entry.number);
}

static struct outcome signal(struct unit *unit, const uint16_t *value, uint32_t now_ms)
{
    signals_ask(&unit->signals, (enum signals_lamp)value[0], (enum signals_sound)value[1], now_ms);
    return done();
}

/* `value`: what follows token and sequence; `first`: its first in full. */
static struct outcome carry_out(struct unit *unit, enum wire_kind kind, const uint16_t *value,
                                uint32_t first, uint32_t now_ms)
{
    switch ((uint8_t)kind) {
    case WIRE_ASK_LIMITS:
        return reply_with(WIRE_LIMITS, 0);
    case WIRE_ASK_MOULD:
        return show_mould(unit, value[0]);
    case WIRE_USE:
        return use(unit, value[0]);
    case WIRE_STORE:
        return store(unit, value);
    case WIRE_DUTY:
        return duty(unit, value, now_ms);
    case WIRE_ARM:
        return ask_to_arm(unit, now_ms);
    case WIRE_ANSWER:
        return take_answer(unit, first);
    case WIRE_CHARGE:
        return charge(unit);
    case WIRE_TRIP:
        return set_trip(unit, (int16_t)value[0]);
    case WIRE_HEAT:
        return heat(unit, value, now_ms);
    case WIRE_ASK_LOG:
        return show_entry(unit, value[0]);
    case WIRE_SIGNAL:
        return signal(unit, value, now_ms);
    case WIRE_BYE:
        safety_close_session(&unit->safety);
        return done();
    case WIRE_DISARM:
    default: /* heat off is what an unforeseen kind would do */
        safety_disarm(&unit->safety);
        return done();
    }
}

void unit_answer(struct unit *unit, const struct wire_line *request, uint32_t now_ms)
{
    struct outcome outcome;
    uint16_t value[VALUES_MOST];
    for (uint8_t at = 0; at < VALUES_MOST; at++) {
        value[at] = (uint16_t)request->value[at];
    }
    uint16_t q = value[request->kind == WIRE_HELLO ? 0 : 1];
    if (unit->replies_waiting >= UNIT_REPLIES) {
        return; /* a host that does not wait for its replies is not heard */
    }
    if (request->kind == WIRE_HELLO) {
        outcome = hello(unit, value);
    } else {
        switch (session_check(&unit->session, value[0], q)) {
        case SESSION_OK:
            outcome = carry_out(unit, request->kind, &value[2], request->value[2], now_ms);
            break;
        case SESSION_OLD:
            outcome = refuse(WIRE_WHY_OLD);
            break;
        case SESSION_TOKEN:
        default:
            outcome = refuse(WIRE_WHY_TOKEN);
            break;
        }
    }
    unit->replies[unit->replies_waiting].kind = outcome.kind;
    unit->replies[unit->replies_waiting].q = q;
    unit->replies[unit->replies_waiting].value = outcome.value;
    unit->replies_waiting = (uint8_t)(unit->replies_waiting + 1u);
}
