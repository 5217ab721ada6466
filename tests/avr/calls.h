/* Calls of the pure C with their arguments in arrays: the same source on the controller and on this
 * machine, so that what differs is the arithmetic. */
#ifndef CALLS_H
#define CALLS_H

#include <stdint.h>

#define CALLS_MOST 24

enum calls_what {
    CALLS_SENSE,   /* a: register */
    CALLS_TRIP,    /* a: wanted, b: present, c: bit 0 armed, bit 1 hand */
    CALLS_BUILD,   /* a: window, b: minimum time, c: supply limit */
    CALLS_TAKE,    /* a: expiry, b: ms gone by, c and d: duties */
    CALLS_ACCOUNT, /* b: ms gone by */
    CALLS_MOULD,   /* a: heat-up time, b: R, c: lag */
    CALLS_JUDGE /* a: register, b: tenths, c: duty, d: setpoint and, above bit 11, the switches */
};

extern volatile uint8_t calls_wait;
extern uint8_t calls_what[CALLS_MOST];
extern uint32_t calls_a[CALLS_MOST];
extern uint16_t calls_b[CALLS_MOST];
extern uint16_t calls_c[CALLS_MOST];
extern uint16_t calls_d[CALLS_MOST];
extern uint32_t calls_x[CALLS_MOST]; /* what came of it */
extern uint32_t calls_y[CALLS_MOST];

void calls_start(uint32_t now_ms);
void calls_make(void);

#endif
