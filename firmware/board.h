/* The controller's registers behind functions. board_avr.c is the only file that knows them. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#define BOARD_WATCHDOG_RESETS_MOST 3u /* within 10 min: something is broken */
#define BOARD_CALM_MS 600000u         /* after so long without one they are forgotten */

/* Why the controller starts; the values are those of unit.h. */
enum board_cause { BOARD_POWER, BOARD_BUTTON, BOARD_BROWNOUT, BOARD_WATCHDOG, BOARD_UNKNOWN };

/* Tests of the start. Each has a share of its own in a number that nothing else is likely to be, so
 * that a bit of flash that turns over on the way from test to decision makes no pass of a failure. */
#define BOARD_PASSED_WATCHDOG 0x4801u
#define BOARD_PASSED_EARLY 0x0092u
#define BOARD_PASSED_FUSES 0x2004u
#define BOARD_PASSED_OUTPUTS 0x0108u
#define BOARD_PASSED_FLASH 0x8020u
#define BOARD_PASSED                                                                               \
    (BOARD_PASSED_WATCHDOG | BOARD_PASSED_EARLY | BOARD_PASSED_FUSES | BOARD_PASSED_OUTPUTS |      \
     BOARD_PASSED_FLASH)

/* Sets every register and runs the tests of the start: registers and RAM (before this), watchdog
 * and clock, flash, fuses. Returns which passed, BOARD_PASSED for all of them. On a cold start it
 * does not return once: the watchdog is left to bite on purpose. */
uint16_t board_start(void);

/* Sets the registers of timer, line, converters and analogue inputs; nothing runs by interrupt yet.
 */
void board_start_peripherals(void);

/* From now on the tick runs. */
void board_start_tick(void);

enum board_cause board_cause(void);

/* Unplanned watchdog resets since the last calm 10 min. */
uint8_t board_watchdog_resets(void);
void board_forget_watchdog_resets(void);

/* CRC-32 of the image, as stamped into it: the build. */
uint32_t board_image_crc(void);

/* Something that is not the same at each start. */
uint32_t board_noise(void);

uint32_t board_now_ms(void);

/* A clock of 10 us steps that wraps, for measuring passes. */
uint16_t board_clock_10us(void);

/* Lets the contactor's pulse train run for 100 ms more. */
void board_permit(void);

/* Ends the pulse train with the next tick. */
void board_forbid(void);

void board_feed_watchdog(void);
void board_sleep(void);

/* Takes one byte of the line; false: there is none. A byte with a framing or overrun error comes as
 * 0, which no line holds. */
bool board_receive(uint8_t *byte);

bool board_is_sending(void);

/* Sends bytes that stay where they are until all are sent. */
void board_send(const uint8_t *bytes, uint8_t length);

/* Reads a converter's register, half 0 upper and 1 lower. Not more often than each 200 ms. */
uint32_t board_read_converter(uint8_t half);

uint16_t board_read_identity(void);
uint16_t board_read_force(void);

/* Switches, bits of tele.in; bit 4: the chain is dead behind the thermostats. */
uint16_t board_switches(void);

/* Sets the outputs, bits of unit_pins. */
void board_set_pins(uint8_t pins);

uint8_t board_eeprom_peek(uint16_t address);
bool board_eeprom_is_ready(void);
void board_eeprom_write(uint16_t address, uint8_t value);

/* A slice of the tests that run all the time: stack canary, a few bytes of RAM and of flash.
 * Returns false once any of them has failed. */
bool board_test_slice(void);

#endif
