/* Any bytes at any moment into the receiver, any values into the writer. Traps where one of these
 * does not hold:
 * - a taken request, written anew by the list of forms below, gives the very bytes that came;
 * - each line is counted once: as taken, dropped or of unknown kind;
 * - after an LF a good line is taken, whatever came before;
 * - a written line is of the grammar's characters, within its length, with its CRC and its LF.
 *
 * An input that begins with 1 is a line to write (kind, then values); in any other, 1 and a byte is
 * so many milliseconds of silence. Built with clang's libFuzzer, ASan and UBSan. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "wire.h"

#define SILENCE 1u
#define GOOD "disarm s=3fa1 q=13 crc=90c18f8a\n" /* from wire_vectors.csv */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void hold(bool fact, const char *what)
{
    if (!fact) {
        fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}
#define HOLD(fact) hold((fact), #fact)

/* CRC-32 by its definition, bit by bit: not the receiver's own. */
static uint32_t crc_of(const char *text, size_t length)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (size_t i = 0; i < 8u * length; i++) {
        const uint32_t bit = ((uint32_t)(uint8_t)text[i / 8u] >> (i % 8u)) & 1u;
        crc = (crc >> 1) ^ (((crc ^ bit) & 1u) != 0u ? 0xEDB88320u : 0u);
    }
    return ~crc;
}

static const char *temp_of(uint32_t value, char room[8])
{
    const int32_t tenths = (int32_t)value;
    if (tenths >= WIRE_BAD) {
        HOLD(tenths <= WIRE_NONE);
        return tenths == WIRE_BAD ? "bad" : "none";
    }
    HOLD(tenths >= -4000 && tenths <= 9999);
    snprintf(room, 8, "%" PRId32, tenths);
    return room;
}

static const char *word_of(const char *const *words, uint32_t position, uint32_t count)
{
    HOLD(position < count);
    return words[position];
}

/* Writes a request as a host would. */
static size_t request_text(const struct wire_line *line, char text[128])
{
    static const char *const halves[] = {"upper", "lower"};
    static const char *const lamps[] = {"off", "on", "blink"};
    static const char *const sounds[] = {"off", "breathe", "topup", "soon", "alarm"};
    const uint32_t *v = line->value;
    char head[32];
    char temp[8];
    int length = 0;

    snprintf(head, sizeof head, "s=%04" PRIx32 " q=%" PRIu32, v[0], v[1]);
    switch (line->kind) {
    case WIRE_HELLO:
        length = snprintf(text, 128, "hello q=%" PRIu32 " v=%" PRIu32 " id=%08" PRIx32, v[0], v[1],
                          v[2]);
        break;
    case WIRE_ASK_LIMITS:
        length = snprintf(text, 128, "limits %s", head);
        break;
    case WIRE_ASK_MOULD:
        length = snprintf(text, 128, "mould %s k=%" PRIu32, head, v[2]);
        break;
    case WIRE_USE:
        length = snprintf(text, 128, "use %s k=%" PRIu32, head, v[2]);
        break;
    case WIRE_STORE:
        length = snprintf(text, 128,
                          "store %s k=%" PRIu32 " h=%s r=%" PRIu32 " lag=%" PRIu32 " up=%" PRIu32,
                          head, v[2], word_of(halves, v[3], 2), v[4], v[5], v[6]);
        break;
    case WIRE_DUTY:
        HOLD(v[2] <= 1000 && v[3] <= 2000 && v[4] <= 1000 && v[5] <= 2000);
        length = snprintf(text, 128,
                          "duty %s u=%" PRIu32 " us=%" PRIu32 " l=%" PRIu32 " ls=%" PRIu32
                          " e=%" PRIu32 " x=%" PRIu32,
                          head, v[2], v[3], v[4], v[5], v[6], v[7]);
        break;
    case WIRE_ARM:
        length = snprintf(text, 128, "arm %s", head);
        break;
    case WIRE_ANSWER:
        length = snprintf(text, 128, "answer %s a=%08" PRIx32, head, v[2]);
        break;
    case WIRE_DISARM:
        length = snprintf(text, 128, "disarm %s", head);
        break;
    case WIRE_CHARGE:
        length = snprintf(text, 128, "charge %s", head);
        break;
    case WIRE_TRIP:
        length = snprintf(text, 128, "trip %s c=%s", head, temp_of(v[2], temp));
        break;
    case WIRE_HEAT:
        HOLD(v[3] <= 1000);
        length = snprintf(text, 128, "heat %s h=%s d=%" PRIu32 " e=%" PRIu32 " x=%" PRIu32, head,
                          word_of(halves, v[2], 2), v[3], v[4], v[5]);
        break;
    case WIRE_ASK_LOG:
        length = snprintf(text, 128, "log %s i=%" PRIu32, head, v[2]);
        break;
    case WIRE_SIGNAL:
        length = snprintf(text, 128, "signal %s lamp=%s snd=%s", head, word_of(lamps, v[2], 3),
                          word_of(sounds, v[3], 5));
        break;
    case WIRE_BYE:
        length = snprintf(text, 128, "bye %s", head);
        break;
    default:
        HOLD(!"a kind of the board's is taken");
    }
    HOLD(v[0] <= 0xFFFFu && (line->kind == WIRE_HELLO || v[1] <= 0xFFFFu));
    length += snprintf(text + length, 128u - (size_t)length, " crc=%08" PRIx32,
                       crc_of(text, (size_t)length));
    return (size_t)length;
}

static void hear(const uint8_t *data, size_t size)
{
    struct wire_receiver receiver;
    struct wire_line line;
    uint8_t raw[4097]; /* since the last LF or silence, a model of its own */
    size_t length = 0;
    uint32_t now_ms = 0xFFFFFF00u;
    uint32_t quiet_ms = 0;
    unsigned lines = 0;
    unsigned taken = 0;

    wire_start(&receiver, now_ms);
    for (size_t i = 0; i < size; i++) {
        if (data[i] == SILENCE && i + 1u < size) {
            i++;
            now_ms += data[i];
            quiet_ms += data[i];
            if (data[i] % 2u != 0u) { /* told of it, or left to find out */
                wire_idle(&receiver, now_ms);
            }
            if (quiet_ms >= WIRE_UNFINISHED_MS) {
                lines += length > 0u;
                length = 0;
            }
            continue;
        }
        quiet_ms = 0;
        memset(&line, 0xAA, sizeof line);
        const bool took = wire_hear(&receiver, data[i], now_ms, &line);
        if (data[i] != '\n') {
            HOLD(!took);
            raw[length] = data[i];
            length++;
            continue;
        }
        lines++;
        if (took) {
            char text[128];
            HOLD(request_text(&line, text) == length && memcmp(text, raw, length) == 0);
            taken++;
        } else if (length < WIRE_TO_BOARD_MOST) {
            raw[length] = (uint8_t)' ';
            HOLD(wire_read(raw, (uint8_t)length, &line) != WIRE_OK);
        }
        length = 0;
    }
    now_ms += WIRE_UNFINISHED_MS;
    wire_idle(&receiver, now_ms);
    lines += length > 0u;
    HOLD(taken + receiver.bad + receiver.unknown == lines);

    for (size_t i = 0; i < size && i < 200u; i++) { /* and now without a pause */
        (void)wire_hear(&receiver, data[i], now_ms, &line);
    }
    (void)wire_hear(&receiver, (uint8_t)'\n', now_ms, &line);
    for (const char *next = GOOD; *next != '\0'; next++) {
        HOLD(wire_hear(&receiver, (uint8_t)*next, now_ms, &line) == (*next == '\n'));
    }
    HOLD(line.kind == WIRE_DISARM && line.value[0] == 0x3fa1u && line.value[1] == 13u);
}

static void write_out(const uint8_t *data, size_t size)
{
    struct wire_line line;
    uint8_t *bytes = malloc(WIRE_FROM_BOARD_MOST); /* so that the sanitizer sees its end */
    memset(&line, 0, sizeof line);
    if (size > 0u) {
        line.kind = (enum wire_kind)(data[0] % (WIRE_KINDS + 4u));
        size--;
        memcpy(line.value, data + 1, size < sizeof line.value ? size : sizeof line.value);
    }
    HOLD(bytes != NULL);
    const size_t length = wire_write(&line, bytes);
    HOLD(length <= WIRE_FROM_BOARD_MOST);
    if (length > 0u) {
        char end[16];
        HOLD(line.kind >= WIRE_BOOT && line.kind < WIRE_KINDS && length > 14u);
        snprintf(end, sizeof end, " crc=%08" PRIx32 "\n", crc_of((char *)bytes, length - 14u));
        HOLD(memcmp(bytes + length - 14u, end, 14) == 0);
        for (size_t i = 0; i < length - 1u; i++) {
            HOLD(bytes[i] != '\0' && strchr("abcdefghijklmnopqrstuvwxyz0123456789= -", bytes[i]));
        }
    } else {
        HOLD(line.kind < WIRE_DONE || line.kind > WIRE_DONE || line.value[0] > 0xFFFFu);
    }
    free(bytes);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size > 0u && data[0] == SILENCE) {
        write_out(data + 1, size - 1u);
    } else if (size <= 4096u) {
        hear(data, size);
    }
    return 0;
}
