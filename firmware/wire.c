#include "wire.h"

#define LF 0x0Au
#define KIND_MOST 12u
#define NAME_MOST 5u
#define VALUE_MOST 17u
#define TEN ((uint8_t)('a' - 10)) /* a digit of 10 and more is a letter */
#define COUNT_MOST 0xFFFFu

/* ---- CRC ---- */

uint32_t wire_crc_step(uint32_t crc, uint8_t byte)
{
    uint32_t rest = crc ^ byte;
    for (uint8_t bit = 0u; bit < 8u; bit++) {
        const bool out = (rest & 1u) != 0u;
        rest >>= 1;
        if (out) {
            rest ^= 0xEDB88320u;
        }
    }
    return rest;
}

uint32_t wire_crc(const uint8_t *bytes, uint8_t length)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (uint8_t i = 0u; i < length; i++) {
        crc = wire_crc_step(crc, bytes[i]);
    }
    return crc ^ 0xFFFFFFFFu;
}

/* ---- reading ---- */

static bool is_digit(uint8_t byte)
{
    return (byte >= (uint8_t)'0') && (byte <= (uint8_t)'9');
}

/* Returns the first thing wrong with the characters of a line, or with its form of
 * `kind *( SP name "=" value )`. */
static enum wire_fault check_form(const uint8_t *bytes, uint8_t length)
{
    enum wire_fault fault = WIRE_OK;
    uint8_t most = KIND_MOST; /* of the part that begins or goes on here: it tells them apart */
    uint8_t count = 0u;
    for (uint8_t i = 0u; i < length; i++) {
        const uint8_t byte = bytes[i];
        const bool is_lower = (byte >= (uint8_t)'a') && (byte <= (uint8_t)'z');
        if ((byte == (uint8_t)' ') || (byte == (uint8_t)'=')) {
            const bool ends_name = (byte == (uint8_t)'=');
            const bool in_name = (most == NAME_MOST);
            if ((count == 0u) || (ends_name != in_name)) {
                fault = WIRE_FAULT_FORM;
            }
            most = ends_name ? VALUE_MOST : NAME_MOST;
            count = 0u;
        } else if (is_lower || (byte == (uint8_t)'-') || is_digit(byte)) {
            if ((count == most) || ((most != VALUE_MOST) && !is_lower)) {
                fault = WIRE_FAULT_FORM;
            }
            count++;
        } else {
            return WIRE_FAULT_CHARACTER;
        }
    }
    return ((most == NAME_MOST) || (count == 0u)) ? WIRE_FAULT_FORM : fault;
}

static bool is_word(const uint8_t *text, uint8_t length, const IN_FLASH char *word)
{
    for (uint8_t i = 0u; i < length; i++) {
        if (text[i] != (uint8_t)word[i]) {
            return false;
        }
    }
    return word[length] <= ' ';
}

static enum wire_fault read_hex(const uint8_t *text, uint8_t length, uint32_t *value)
{
    uint32_t sum = 0u;
    for (uint8_t i = 0u; i < length; i++) {
        const uint8_t zero = is_digit(text[i]) ? (uint8_t)'0' : TEN;
        const uint8_t digit = (uint8_t)(text[i] - zero);
        if (digit > 15u) {
            return WIRE_FAULT_FIELD;
        }
        sum = (sum << 4) | digit;
    }
    *value = sum;
    return WIRE_OK;
}

static enum wire_fault read_decimal(const uint8_t *text, uint8_t length, uint16_t most,
                                    uint32_t *value)
{
    uint32_t sum = 0u;
    if ((length == 0u) || ((length > 1u) && (text[0] == (uint8_t)'0'))) {
        return WIRE_FAULT_FIELD;
    }
    for (uint8_t i = 0u; i < length; i++) {
        if (!is_digit(text[i])) {
            return WIRE_FAULT_FIELD;
        }
        if (sum <= most) { /* past it, only the form of the rest matters */
            sum = (sum * 10u) + (uint8_t)(text[i] - (uint8_t)'0');
        }
    }
    *value = sum;
    return (sum <= most) ? WIRE_OK : WIRE_FAULT_RANGE;
}

static enum wire_fault read_word(const uint8_t *text, uint8_t length, char type, uint32_t *value)
{
    const IN_FLASH char *words = wire_words(type);
    uint8_t position = 0u;
    while (*words == ' ') {
        words++;
        if (is_word(text, length, words)) {
            *value = position;
            return WIRE_OK;
        }
        words = wire_end(words, ' ');
        position++;
    }
    return WIRE_FAULT_FIELD;
}

static enum wire_fault read_temp(const uint8_t *text, uint8_t length, uint32_t *value)
{
    if (read_word(text, length, 'T', value) == WIRE_OK) {
        *value += (uint32_t)WIRE_BAD;
        return WIRE_OK;
    }
    if (text[0] != (uint8_t)'-') {
        return read_decimal(text, length, WIRE_TEMP_MOST, value);
    }
    *value = 0u;
    const enum wire_fault fault =
        read_decimal(&text[1], (uint8_t)(length - 1u), WIRE_TEMP_LEAST, value);
    if ((fault == WIRE_OK) && (*value == 0u)) {
        return WIRE_FAULT_FIELD;
    }
    *value = 0u - *value;
    return fault;
}

static enum wire_fault read_value(const uint8_t *text, uint8_t length, char type, uint32_t *value)
{
    if (type <= '9') {
        const uint8_t digits = (uint8_t)((uint8_t)type - (uint8_t)'0');
        return (length == digits) ? read_hex(text, length, value) : WIRE_FAULT_FIELD;
    }
    if (type == 'T') {
        return read_temp(text, length, value);
    }
    const uint16_t most = (uint16_t)wire_most(type); /* of a request: at most 2 bytes */
    return (most > 0u) ? read_decimal(text, length, most, value)
                       : read_word(text, length, type, value);
}

/* Reads fields from the space before the first one on. */
static enum wire_fault read_fields(const uint8_t *bytes, uint8_t length,
                                   const IN_FLASH char *pattern, uint32_t *value)
{
    const IN_FLASH char *next = pattern;
    uint32_t *free = value;
    uint8_t at = 0u;
    while (*next != '\n') {
        const bool is_name = (*next >= 'a') || (*next == ' ');
        const uint8_t wanted = is_name ? (uint8_t)*next : (uint8_t)'=';
        if ((at == length) || (bytes[at] != wanted)) {
            return WIRE_FAULT_FIELD;
        }
        at++;
        if (!is_name) {
            const uint8_t begin = at;
            while ((at < length) && (bytes[at] != (uint8_t)' ')) {
                at++;
            }
            const enum wire_fault fault =
                read_value(&bytes[begin], (uint8_t)(at - begin), *next, free);
            if (fault != WIRE_OK) {
                return fault;
            }
            free++;
        }
        next++;
    }
    return (at == length) ? WIRE_OK : WIRE_FAULT_FIELD;
}

/* Reads the body of a line, which has the form of one. */
static enum wire_fault read_body(const uint8_t *bytes, uint8_t length, struct wire_line *line)
{
    const IN_FLASH char *pattern = wire_pattern(0u);
    uint8_t end = 0u;
    while ((end < length) && (bytes[end] != (uint8_t)' ')) {
        end++;
    }
    for (uint8_t kind = 0u; kind < (uint8_t)WIRE_BOOT; kind++) {
        if (is_word(bytes, end, pattern)) {
            line->kind = (enum wire_kind)kind;
            return read_fields(&bytes[end], (uint8_t)(length - end), wire_end(pattern, ' '),
                               line->value);
        }
        pattern = &wire_end(pattern, '\n')[1];
    }
    return WIRE_FAULT_KIND;
}

enum wire_fault wire_read(const uint8_t *bytes, uint8_t length, struct wire_line *line)
{
    uint32_t crc = 0u;
    if (length >= WIRE_TO_BOARD_MOST) {
        return WIRE_FAULT_LENGTH;
    }
    const enum wire_fault fault = check_form(bytes, length);
    if (fault != WIRE_OK) {
        return fault;
    }
    if (length < WIRE_END_BYTES) {
        return WIRE_FAULT_FORM;
    }
    const uint8_t body = (uint8_t)(length - WIRE_END_BYTES);
    if (read_fields(&bytes[body], WIRE_END_BYTES, wire_pattern(WIRE_END), &crc) != WIRE_OK) {
        return WIRE_FAULT_FORM;
    }
    if (wire_crc(bytes, body) != crc) {
        return WIRE_FAULT_CRC;
    }
    return read_body(bytes, body, line);
}

/* ---- receiving ---- */

static void count_up(uint16_t *counter)
{
    if (*counter < COUNT_MOST) {
        (*counter)++;
    }
}

void wire_start(struct wire_receiver *receiver, uint32_t now_ms)
{
    receiver->heard_ms = now_ms;
    receiver->bad = 0u;
    receiver->unknown = 0u;
    receiver->length = 0u;
    receiver->oversize = false;
}

void wire_idle(struct wire_receiver *receiver, uint32_t now_ms)
{
    if ((uint32_t)(now_ms - receiver->heard_ms) < WIRE_UNFINISHED_MS) {
        return;
    }
    if (receiver->length > 0u) {
        count_up(&receiver->bad);
    }
    receiver->length = 0u;
    receiver->oversize = false;
}

static void keep(struct wire_receiver *receiver, uint8_t byte)
{
    if (receiver->length == (WIRE_TO_BOARD_MOST - 1u)) {
        count_up(&receiver->bad);
        receiver->length = 0u;
        receiver->oversize = true;
    }
    if (!receiver->oversize) {
        receiver->bytes[receiver->length] = byte;
        receiver->length++;
    }
}

/* The line has its LF. */
static bool complete(struct wire_receiver *receiver, struct wire_line *line)
{
    const enum wire_fault fault = wire_read(receiver->bytes, receiver->length, line);
    receiver->length = 0u;
    if (fault == WIRE_FAULT_KIND) {
        count_up(&receiver->unknown);
    } else if (fault != WIRE_OK) {
        count_up(&receiver->bad);
    } else {
        return true;
    }
    return false;
}

bool wire_hear(struct wire_receiver *receiver, uint8_t byte, uint32_t now_ms,
               struct wire_line *line)
{
    wire_idle(receiver, now_ms);
    receiver->heard_ms = now_ms;
    if (byte != LF) {
        keep(receiver, byte);
        return false;
    }
    if (receiver->oversize) {
        receiver->oversize = false;
        return false;
    }
    return complete(receiver, line);
}
