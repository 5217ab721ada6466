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
        const uint8_t low = (uint8_t)rest; /* its bit alone is quicker to ask for than that of 32 */
        rest >>= 1;
        if ((low & 1u) != 0u) {
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

/* Returns the first thing wrong with the characters of a line, or with its form of
 * `kind *( SP name "=" value )`; how it ends is looked at elsewhere. */
static enum wire_fault check_form(const uint8_t *bytes, uint8_t length)
{
    enum wire_fault fault = WIRE_OK;
    uint8_t most = KIND_MOST; /* of the part that begins or goes on here: it tells them apart */
    uint8_t count = 0u;
    for (uint8_t i = 0u; i < length; i++) {
        const uint8_t byte = bytes[i];
        const bool in_name = (most == NAME_MOST);
        if ((byte == (uint8_t)' ') || (byte == (uint8_t)'=')) {
            const bool ends_name = (byte == (uint8_t)'=');
            if ((count == 0u) || (ends_name != in_name)) {
                fault = WIRE_FAULT_FORM;
            }
            most = ends_name ? VALUE_MOST : NAME_MOST;
            count = 0u;
        } else {
            if ((byte < (uint8_t)'a') || (byte > (uint8_t)'z')) {
                if ((byte != (uint8_t)'-') && ((byte < (uint8_t)'0') || (byte > (uint8_t)'9'))) {
                    return WIRE_FAULT_CHARACTER;
                }
                if (most != VALUE_MOST) {
                    fault = WIRE_FAULT_FORM;
                }
            }
            if (count == most) {
                fault = WIRE_FAULT_FORM;
            }
            count++;
        }
    }
    return fault;
}

/* From here on a text is a part of a line of that form, and ends at a space. */

static bool is_word(const uint8_t *text, const IN_FLASH char *word)
{
    uint8_t i = 0u;
    while (word[i] > ' ') {
        if (text[i] != (uint8_t)word[i]) {
            return false;
        }
        i++;
    }
    return text[i] == (uint8_t)' ';
}

static bool read_hex(const uint8_t *text, uint8_t digits, uint32_t *value)
{
    uint32_t sum = 0u;
    for (uint8_t i = 0u; i < digits; i++) {
        const uint8_t zero = (text[i] <= (uint8_t)'9') ? (uint8_t)'0' : TEN;
        const uint8_t digit = (uint8_t)(text[i] - zero);
        if (digit > 15u) {
            return false;
        }
        sum = (sum << 4) | digit;
    }
    *value = sum;
    return true;
}

static enum wire_fault read_decimal(const uint8_t *text, uint16_t most, uint32_t *value)
{
    uint32_t sum = 0u;
    uint8_t i = 0u;
    do {
        const uint8_t digit = (uint8_t)(text[i] - (uint8_t)'0');
        if ((digit > 9u) || ((i == 1u) && (text[0] == (uint8_t)'0'))) {
            return WIRE_FAULT_FIELD;
        }
        if (sum <= most) { /* past it, only the form of the rest matters */
            sum = (sum * 10u) + digit;
        }
        i++;
    } while (text[i] != (uint8_t)' ');
    *value = sum;
    return (sum <= most) ? WIRE_OK : WIRE_FAULT_RANGE;
}

static enum wire_fault read_word(const uint8_t *text, char type, uint32_t *value)
{
    const IN_FLASH char *words = wire_words(type);
    uint8_t position = 0u;
    while (*words == ' ') {
        words++;
        if (is_word(text, words)) {
            *value = position;
            return WIRE_OK;
        }
        words = wire_end(words, ' ');
        position++;
    }
    return WIRE_FAULT_FIELD;
}

static enum wire_fault read_temp(const uint8_t *text, uint32_t *value)
{
    if (read_word(text, 'T', value) == WIRE_OK) {
        *value += (uint32_t)WIRE_BAD;
        return WIRE_OK;
    }
    if (text[0] != (uint8_t)'-') {
        return read_decimal(text, WIRE_TEMP_MOST, value);
    }
    if (text[1] == (uint8_t)'0') {
        return WIRE_FAULT_FIELD;
    }
    const enum wire_fault fault = read_decimal(&text[1], WIRE_TEMP_LEAST, value);
    if (fault == WIRE_OK) {
        *value = 0u - *value;
    }
    return fault;
}

static enum wire_fault read_value(const uint8_t *text, char type, uint32_t *value)
{
    if (type <= '9') {
        const uint8_t digits = (uint8_t)((uint8_t)type - (uint8_t)'0');
        return (read_hex(text, digits, value) && (text[digits] == (uint8_t)' ')) ? WIRE_OK
                                                                                 : WIRE_FAULT_FIELD;
    }
    if (type == 'T') {
        return read_temp(text, value);
    }
    const uint16_t most = (uint16_t)wire_most(type); /* of a request: at most 2 bytes */
    return (most > 0u) ? read_decimal(text, most, value) : read_word(text, type, value);
}

/* Reads fields up to the end of the body, the space before `crc`. No field has that name, so that
 * a line with too few of them differs from the pattern there at the latest. */
static enum wire_fault read_fields(const uint8_t *text, const uint8_t *end,
                                   const IN_FLASH char *pattern, uint32_t *value)
{
    const IN_FLASH char *next = pattern;
    const uint8_t *at = text;
    uint32_t *room = value;
    while (*next != '\n') {
        const bool is_name = (*next >= 'a') || (*next == ' ');
        if (*at != (is_name ? (uint8_t)*next : (uint8_t)'=')) {
            return WIRE_FAULT_FIELD;
        }
        at++;
        if (!is_name) {
            const enum wire_fault fault = read_value(at, *next, room);
            if (fault != WIRE_OK) {
                return fault;
            }
            while (*at != (uint8_t)' ') {
                at++;
            }
            room++;
        }
        next++;
    }
    return (at == end) ? WIRE_OK : WIRE_FAULT_FIELD;
}

enum wire_fault wire_read(const uint8_t *bytes, uint8_t length, struct wire_line *line)
{
    const IN_FLASH char *pattern = wire_pattern(0u);
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
    const uint8_t *end = &bytes[length - WIRE_END_BYTES];
    if (read_fields(end, &bytes[length], wire_pattern(WIRE_END), &crc) != WIRE_OK) {
        return WIRE_FAULT_FORM;
    }
    if (wire_crc(bytes, (uint8_t)(length - WIRE_END_BYTES)) != crc) {
        return WIRE_FAULT_CRC;
    }
    for (uint8_t kind = 0u; kind < (uint8_t)WIRE_BOOT; kind++) {
        const IN_FLASH char *fields = wire_end(pattern, ' ');
        if (is_word(bytes, pattern)) {
            line->kind = (enum wire_kind)kind;
            return read_fields(&bytes[fields - pattern], end, fields, line->value);
        }
        pattern = &wire_end(fields, '\n')[1];
    }
    return WIRE_FAULT_KIND;
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
    receiver->bytes[receiver->length] = (uint8_t)' ';
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
