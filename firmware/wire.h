/* Lines in and out: framing, grammar, CRC, fields. PROTOCOL.md sections 1, 4 and 5.
 *
 * A line is its kind and its fields' values in the page's order, without `crc`. Three sources share
 * this header: wire.c hears and reads, wire_write.c writes, wire_table.c holds kinds and words. */
#ifndef WIRE_H
#define WIRE_H

#include <stdbool.h>
#include <stdint.h>

#define WIRE_TO_BOARD_MOST 80u
#define WIRE_FROM_BOARD_MOST 160u
/* What wire_write may write before it gives up: no table with a bit turned over leads beyond. */
#define WIRE_FROM_BOARD_ROOM (WIRE_FROM_BOARD_MOST + 40u)
#define WIRE_VALUES_MOST 15u
#define WIRE_UNFINISHED_MS 50u

/* A temp field that is a word instead of a number. */
#define WIRE_BAD 20000
#define WIRE_NONE 20001

enum wire_kind {
    WIRE_HELLO,
    WIRE_ASK_LIMITS,
    WIRE_ASK_MOULD,
    WIRE_USE,
    WIRE_STORE,
    WIRE_DUTY,
    WIRE_ARM,
    WIRE_ANSWER,
    WIRE_DISARM,
    WIRE_CHARGE,
    WIRE_TRIP,
    WIRE_HEAT,
    WIRE_ASK_LOG,
    WIRE_SIGNAL,
    WIRE_BYE,
    WIRE_BOOT, /* the first that the board sends */
    WIRE_HERE,
    WIRE_LIMITS,
    WIRE_MOULD,
    WIRE_CHALLENGE,
    WIRE_ENTRY,
    WIRE_DONE,
    WIRE_REFUSED,
    WIRE_TELE,
    WIRE_STAT,
    WIRE_EVENT,
    WIRE_KINDS
};

/* Words are values too: the position in their list, in the order in which PROTOCOL.md gives it. */
enum wire_refusal {
    WIRE_WHY_VERSION,
    WIRE_WHY_BUSY,
    WIRE_WHY_TOKEN,
    WIRE_WHY_OLD,
    WIRE_WHY_ECHO,
    WIRE_WHY_SLOT,
    WIRE_WHY_RANGE,
    WIRE_WHY_LIMIT,
    WIRE_WHY_STATE,
    WIRE_WHY_HAND,
    WIRE_WHY_RATE,
    WIRE_WHY_WRONG,
    WIRE_WHY_EMPTY,
    WIRE_REFUSALS
};

/* One line. A temp is its int16 sign-extended; `board` of `here` takes two values, high half first;
 * every other field takes one. */
struct wire_line {
    uint32_t value[WIRE_VALUES_MOST];
    enum wire_kind kind;
};

struct wire_receiver {
    uint32_t heard_ms; /* when the last byte came */
    uint16_t bad;      /* dropped lines, stops at 65535 */
    uint16_t unknown;  /* good lines of unknown kind, stops at 65535 */
    uint8_t length;    /* of the line so far */
    bool oversize;     /* the line is longer than the limit: drop up to its LF */
    uint8_t bytes[WIRE_TO_BOARD_MOST];
};

/* ---- wire.c ---- */

/* CRC-32 of PROTOCOL.md section 1, byte by byte: start with 0xFFFFFFFF, end with XOR 0xFFFFFFFF. */
uint32_t wire_crc_step(uint32_t crc, uint8_t byte);

/* The same over some bytes, from start to end. */
uint32_t wire_crc(const uint8_t *bytes, uint8_t length);

void wire_start(struct wire_receiver *receiver, uint32_t now_ms);

/* Takes one byte; returns whether it completed a good request, which is then in `line`. Else `line`
 * may hold anything. A byte that the hardware lost or doubts is given as 0, which no line holds. */
bool wire_hear(struct wire_receiver *receiver, uint8_t byte, uint32_t now_ms,
               struct wire_line *line);

/* Drops a line that stands unfinished for 50 ms; call it now and then, also with nothing heard. */
void wire_idle(struct wire_receiver *receiver, uint32_t now_ms);

/* Reads one line as wire_hear does; a space stands in place of its LF. The first thing wrong is for
 * tests. */
enum wire_fault {
    WIRE_OK,
    WIRE_FAULT_LENGTH,
    WIRE_FAULT_CHARACTER,
    WIRE_FAULT_FORM,
    WIRE_FAULT_CRC,
    WIRE_FAULT_KIND,
    WIRE_FAULT_FIELD,
    WIRE_FAULT_RANGE
};
enum wire_fault wire_read(const uint8_t *bytes, uint8_t length, struct wire_line *line);

/* ---- wire_write.c ---- */

/* Writes a line of the board with CRC and LF; returns its length. 0: the kind is none of the
 * board's or a value is none of its field's, and nothing may be sent. */
uint8_t wire_write(const struct wire_line *line, uint8_t bytes[WIRE_FROM_BOARD_ROOM]);

/* ---- wire_table.c: what reading and writing share ----
 *
 * A pattern is a line with LF: each value stands as a type, without the `=` before it. A digit is
 * hexadecimal with so many digits (two of them are two values, never in a request); B, W and Q are
 * decimal in 1, 2 and 4 bytes (never Q in a request); T is a temperature; other letters are
 * decimal where wire_most() knows them, else words. */
#define WIRE_END ((uint8_t)WIRE_KINDS) /* as a kind: the pattern of every line's end, its CRC */
#define WIRE_END_BYTES 13u
#define WIRE_TEMP_MOST 9999u
#define WIRE_TEMP_LEAST 4000u /* below 0 */

const IN_FLASH char *wire_pattern(uint8_t kind);

/* Returns the words of a type, each with a space before it, an LF after the last. */
const IN_FLASH char *wire_words(char type);

/* Returns where a word ends (last: a space), or a pattern (last: LF). */
const IN_FLASH char *wire_end(const IN_FLASH char *text, char last);

/* Returns the largest number of a decimal type, 0 for any other type. */
uint32_t wire_most(char type);

#endif
