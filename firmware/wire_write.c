#include "wire.h"

#include <stddef.h>

#define POWERS_COUNT 10u

static const IN_FLASH uint32_t POWERS[POWERS_COUNT] = {
    1000000000u, 100000000u, 10000000u, 1000000u, 100000u, 10000u, 1000u, 100u, 10u, 1u};

/* The functions below write at a place and return the place after it, or NULL where the value is
 * none of its type. */

static uint8_t *put_hex(uint8_t *at, uint32_t value, uint8_t digits)
{
    uint32_t rest = value;
    for (uint8_t left = digits; left > 0u; left--) {
        const uint8_t digit = (uint8_t)(rest & 15u);
        const uint8_t zero = (digit < 10u) ? (uint8_t)'0' : (uint8_t)('a' - 10);
        at[left - 1u] = (uint8_t)(zero + digit);
        rest >>= 4;
    }
    return (rest == 0u) ? &at[digits] : NULL;
}

/* By subtraction: this processor divides 32 bits in some 600 cycles, once for each digit. */
static uint8_t *put_decimal(uint8_t *at, uint32_t value, uint32_t most)
{
    uint8_t *next = at;
    uint32_t rest = value;
    if (value > most) {
        return NULL;
    }
    for (uint8_t i = 0u; i < POWERS_COUNT; i++) {
        const uint32_t power = POWERS[i];
        uint8_t digit = (uint8_t)'0';
        while (rest >= power) {
            rest -= power;
            digit++;
        }
        *next = digit;
        if ((next != at) || (digit > (uint8_t)'0') || (power == 1u)) {
            next++;
        }
    }
    return next;
}

static uint8_t *put_word(uint8_t *at, uint32_t position, char type)
{
    const IN_FLASH char *words = wire_words(type);
    uint8_t *next = at;
    for (uint32_t left = position; (left > 0u) && (*words == ' '); left--) {
        words = wire_end(&words[1], ' ');
    }
    if (*words != ' ') {
        return NULL;
    }
    words++;
    while (*words > ' ') {
        *next = (uint8_t)*words;
        next++;
        words++;
    }
    return next;
}

static uint8_t *put_temp(uint8_t *at, uint32_t value)
{
    const uint32_t above = 0xFFFFFFFFu - value; /* of a negative number: its amount, less 1 */
    if (above < WIRE_TEMP_LEAST) {
        *at = (uint8_t)'-';
        return put_decimal(&at[1], above + 1u, WIRE_TEMP_LEAST);
    }
    if (value >= (uint32_t)WIRE_BAD) {
        return put_word(at, value - (uint32_t)WIRE_BAD, 'T');
    }
    return put_decimal(at, value, WIRE_TEMP_MOST);
}

static uint8_t *put_value(uint8_t *at, uint32_t value, char type)
{
    if (type <= '9') {
        return put_hex(at, value, (uint8_t)type & 0x0Fu);
    }
    if (type == 'T') {
        return put_temp(at, value);
    }
    const uint32_t most = wire_most(type);
    return (most > 0u) ? put_decimal(at, value, most) : put_word(at, value, type);
}

/* Ends within a value's length of `last` at the latest, whatever the pattern says. */
static uint8_t *put_pattern(uint8_t *at, const uint8_t *last, const IN_FLASH char *pattern,
                            const uint32_t *value)
{
    const uint32_t *given = value;
    uint8_t *next = at;
    bool in_name = true;
    for (const IN_FLASH char *form = pattern; (*form != '\n') && (next != NULL) && (next < last);
         form++) {
        if ((*form >= 'a') || (*form == ' ')) {
            *next = (uint8_t)*form;
            next++;
            in_name = true;
        } else {
            if (in_name) {
                *next = (uint8_t)'=';
                next++;
            }
            in_name = false;
            next = put_value(next, *given, *form);
            given++;
        }
    }
    return next;
}

uint8_t wire_write(const struct wire_line *line, uint8_t bytes[WIRE_FROM_BOARD_ROOM])
{
    if ((line->kind < WIRE_BOOT) || (line->kind >= WIRE_KINDS)) {
        return 0u;
    }
    const uint8_t *last = &bytes[WIRE_FROM_BOARD_MOST - WIRE_END_BYTES];
    uint8_t *end = put_pattern(bytes, last, wire_pattern((uint8_t)line->kind), line->value);
    if ((end == NULL) || (end >= last)) {
        return 0u;
    }
    const ptrdiff_t body = end - bytes;
    const uint32_t crc = wire_crc(bytes, (uint8_t)body);
    end = put_pattern(end, &bytes[WIRE_FROM_BOARD_MOST], wire_pattern(WIRE_END), &crc);
    if (end == NULL) {
        return 0u;
    }
    *end = (uint8_t)'\n';
    const ptrdiff_t length = &end[1] - bytes;
    return (uint8_t)length;
}
