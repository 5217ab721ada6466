#ifndef HOST_BOARD_H
#define HOST_BOARD_H

#include <stddef.h>

#include "unit.h"

struct host_board {
    struct unit unit;
    uint32_t raw[SAFETY_HALVES];
    uint32_t now_ms;
    uint32_t pass_ms;
    uint32_t permission_ms; /* left of the pulse train */
    uint32_t on_ms[SAFETY_HALVES];
    uint32_t writes;   /* of EEPROM bytes */
    uint16_t switches; /* SAFETY_IN_ bits; THERMOSTAT: the chain is dead */
    uint16_t identity;
    uint16_t force;
    uint8_t pins;
    bool flow_is_right;
    size_t said;
    uint8_t eeprom[MEMORY_BYTES];
    uint8_t out[1 << 16];
};

struct host_board *host_board_new(void);
void host_board_free(struct host_board *board);
void host_board_start(struct host_board *board, const struct unit_build *build, int cause,
                      uint32_t now_ms, bool passed);
void host_board_run(struct host_board *board, uint32_t ms);
void host_board_hear(struct host_board *board, const uint8_t *bytes, size_t length);
size_t host_board_said(struct host_board *board, uint8_t *bytes, size_t most);

#endif
