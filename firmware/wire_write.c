#include "wire.h"

#define POWERS_COUNT 10u

static const IN_FLASH uint32_t POWERS[POWERS_COUNT] = {
    1000000000u, 100000000u, 10000000u, 1000000u, 100000u, 10000u, 1000u, 100u, 10u, 1u};

struct text {
    uint8_t *bytes;
    uint8_t length;
};

static void put(struct text *text, uint8_t byte)
{
    text->bytes[text->length] = byte;
    text->length++;
}

/* The functions below return whether a value is one of its type; else the text is worth nothing. */

static bool put_hex(struct text *text, uint32_t value, uint8_t digits)
{
    uint32_t rest = value;
    text->length = (uint8_t)(text->length + digits);
    for (uint8_t i = 1u; i <= digits; i++) {
        const uint8_t digit = (uint8_t)(rest & 15u);
        const uint8_t zero = (digit < 10u) ? (uint8_t)'0' : (uint8_t)('a' - 10);
        text->bytes[text->length - i] = (uint8_t)(zero + digit);
        rest >>= 4;
    }
    return rest == 0u;
}

/* By subtraction: this processor divides 32 bits in some 600 cycles, once for each digit. */
static bool put_decimal(struct text *text, uint32_t value, uint32_t most)
{
    uint32_t rest = value;
    bool begun = false;
    if (value > most) {
        return false;
    }
    for (uint8_t i = 0u; i < POWERS_COUNT; i++) {
        const uint32_t power = POWERS[i];
        uint8_t digit = (uint8_t)'0';
        while (rest >= power) {
            rest -= power;
            digit++;
        }
        begun = begun || (digit > (uint8_t)'0') || (power == 1u);
        if (begun) {
            put(text, digit);
        }
    }
    return true;
}

static bool put_word(struct text *text, uint32_t position, char type)
{
    const IN_FLASH char *words = wire_words(type);
    for (uint32_t left = position; (left > 0u) && (*words == ' '); left--) {
        words = wire_end(&words[1], ' ');
    }
    if (*words != ' ') {
        return false;
    }
    words++;
    while (*words > ' ') {
        put(text, (uint8_t)*words);
        words++;
    }
    return true;
}

static bool put_temp(struct text *text, uint32_t value)
{
    const uint32_t above = 0xFFFFFFFFu - value; /* of a negative number: its amount, less 1 */
    if (above < WIRE_TEMP_LEAST) {
        put(text, (uint8_t)'-');
        return put_decimal(text, above + 1u, WIRE_TEMP_LEAST);
    }
    if (value >= (uint32_t)WIRE_BAD) {
        return put_word(text, value - (uint32_t)WIRE_BAD, 'T');
    }
    return put_decimal(text, value, WIRE_TEMP_MOST);
}

static bool put_value(struct text *text, uint32_t value, char type)
{
    if (type <= '9') {
        return put_hex(text, value, (uint8_t)((uint8_t)type - (uint8_t)'0'));
    }
    if (type == 'T') {
        return put_temp(text, value);
    }
    const uint32_t most = wire_most(type);
    if (most > 0u) {
        return put_decimal(text, value, most);
    }
    return put_word(text, value, type);
}

static bool put_pattern(struct text *text, const IN_FLASH char *pattern, const uint32_t *value)
{
    uint8_t count = 0u;
    bool in_name = true;
    for (const IN_FLASH char *next = pattern; *next != '\n'; next++) {
        if ((*next >= 'a') || (*next == ' ')) {
            put(text, (uint8_t)*next);
            in_name = true;
        } else {
            if (in_name) {
                put(text, (uint8_t)'=');
            }
            in_name = false;
            if (!put_value(text, value[count], *next)) {
                return false;
            }
            count++;
        }
    }
    return true;
}

uint8_t wire_write(const struct wire_line *line, uint8_t bytes[WIRE_FROM_BOARD_MOST])
{
    struct text text = {bytes, 0u};
    if ((line->kind < WIRE_BOOT) || (line->kind >= WIRE_KINDS)) {
        return 0u;
    }
    if (!put_pattern(&text, wire_pattern((uint8_t)line->kind), line->value)) {
        return 0u;
    }
    const uint32_t crc = wire_crc(bytes, text.length);
    (void)put_pattern(&text, wire_pattern(WIRE_END), &crc);
    put(&text, (uint8_t)'\n');
    return text.length;
}
