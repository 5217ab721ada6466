/* The board's pure C with arrays in place of the controller: a board on this machine. Its loop is that
 * of firmware/main.c, a line takes no time, and the EEPROM takes a byte each millisecond. */
#include "host_board.h"

#include <stdlib.h>
#include <string.h>

static const struct host_board *present; /* whose EEPROM is read: a board reads only its own */

static uint8_t peek(uint16_t address)
{
    return present->eeprom[address % MEMORY_BYTES];
}

struct host_board *host_board_new(void)
{
    struct host_board *board = calloc(1, sizeof *board);
    memset(board->eeprom, 0xFF, sizeof board->eeprom);
    return board;
}

void host_board_free(struct host_board *board)
{
    free(board);
}

void host_board_start(struct host_board *board, const struct unit_build *build, int cause,
                      uint32_t now_ms, bool passed)
{
    const struct unit_birth birth = {
        .peek = peek,
        .noise = now_ms ^ 0x7A3E1234u,
        .switches = board->switches,
        .cause = (enum unit_cause)cause,
    };
    present = board;
    board->now_ms = now_ms;
    board->pass_ms = now_ms;
    board->permission_ms = 0;
    board->pins = 0;
    unit_start(&board->unit, build, &birth, now_ms);
    unit_end_selftest(&board->unit, passed, now_ms);
}

static void speak(struct host_board *board)
{
    while (unit_has_line(&board->unit)) {
        uint8_t line[WIRE_FROM_BOARD_ROOM];
        uint8_t length = unit_line(&board->unit, line);
        if (board->said + length <= sizeof board->out) {
            memcpy(board->out + board->said, line, length);
            board->said += length;
        }
    }
}

static void forbid(struct host_board *board)
{
    if (!unit_wants_contactor(&board->unit)) {
        board->permission_ms = 0;
    }
}

static void pass(struct host_board *board)
{
    struct unit *unit = &board->unit;
    if (unit_begin_pass(unit)) {
        unit_read(unit, board->raw, board->identity, board->force, board->now_ms);
    }
    unit_pass(unit, board->now_ms);
    unit_take_slice(unit, true, board->now_ms);
    board->pins = unit_pins(unit, board->now_ms);
    board->flow_is_right = unit_flow_is_right(unit);
    board->permission_ms = board->flow_is_right && unit_wants_contactor(unit) ? 100u : 0u;
}

static void tick(struct host_board *board)
{
    uint16_t address;
    uint8_t value;
    if (board->now_ms % BUTTONS_SAMPLE_MS == 0u) {
        (void)unit_take_switches(&board->unit, board->switches, board->now_ms);
    }
    if ((uint32_t)(board->now_ms - board->pass_ms) >= SAFETY_PASS_MS) {
        board->pass_ms = board->now_ms;
        pass(board);
    }
    board->pins = unit_pins(&board->unit, board->now_ms);
    forbid(board);
    if (memory_next(&board->unit.memory, peek, &address, &value)) {
        board->eeprom[address] = value;
        board->writes++;
    }
    speak(board);
}

void host_board_run(struct host_board *board, uint32_t ms)
{
    present = board;
    for (uint32_t count = 0; count < ms; count++) {
        board->on_ms[0] += (board->pins & UNIT_PIN_HEATER_UPPER) != 0u;
        board->on_ms[1] += (board->pins & UNIT_PIN_HEATER_LOWER) != 0u;
        board->now_ms++;
        if (board->permission_ms != 0u) {
            board->permission_ms--;
        }
        tick(board);
    }
}

void host_board_hear(struct host_board *board, const uint8_t *bytes, size_t length)
{
    present = board;
    for (size_t at = 0; at < length; at++) {
        (void)unit_hear(&board->unit, bytes[at], board->now_ms);
        speak(board);
    }
    board->pins = unit_pins(&board->unit, board->now_ms);
    forbid(board);
}

size_t host_board_said(struct host_board *board, uint8_t *bytes, size_t most)
{
    size_t length = board->said < most ? board->said : most;
    memcpy(bytes, board->out, length);
    memmove(board->out, board->out + length, board->said - length);
    board->said -= length;
    return length;
}
