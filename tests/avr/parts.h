/* What the parts of the simulated board know of each other. */
#ifndef PARTS_H
#define PARTS_H

#include <simavr/sim_avr.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_interrupts.h>

#include "pins.h"
#include "shim.h"

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>
#include <simavr/avr_uart.h>
#include <simavr/avr_watchdog.h>

#define PORTS 3u
#define PINS (8u * PORTS)
#define PIN_OF(name) (8u * (PIN_##name##_LETTER - 'B') + PIN_##name##_BIT)
#define HEARD_BYTES 65536u /* room for bytes on their way, each way a power of two */
#define SAID_BYTES 262144u
#define FUSE_BYTES 4u
#define RECEIVER_BYTES 3u /* two in the buffer, one in the shift register */

/* Registers of the ATmega328P in data space, from its data sheet's register summary. */
enum {
    REG_EECR = 0x3f,
    REG_EEDR = 0x40,
    REG_EEARL = 0x41,
    REG_EEARH = 0x42,
    REG_SPCR = 0x4c,
    REG_SPSR = 0x4d,
    REG_SPDR = 0x4e,
    REG_MCUSR = 0x54,
    REG_SPMCSR = 0x57,
    REG_UCSRA = 0xc0,
    REG_UCSRB = 0xc1,
    REG_UCSRC = 0xc2,
    REG_UBRRL = 0xc4,
    REG_UBRRH = 0xc5,
    REG_UDR = 0xc6
};

struct line {
    avr_uart_t *uart;
    uint8_t heard[HEARD_BYTES]; /* towards the board */
    uint8_t said[SAID_BYTES];
    uint32_t heard_in, heard_out, said_in, said_out;
    uint64_t due;         /* when the next byte will have arrived, at the earliest */
    uint32_t byte_cycles; /* 0: real */
    uint32_t overruns;
    uint8_t received[RECEIVER_BYTES];
    uint8_t received_count;
    uint8_t shifting, holding;
    bool is_shifting, is_holding;
};

struct converter {
    uint64_t since; /* when the conversion began that runs while it is not selected */
    uint64_t set;   /* when `measured` last changed */
    uint32_t measured, latched, frame;
    uint32_t reads, early;
    uint8_t sent; /* bytes of the frame that have gone */
    bool is_selected;
    bool is_fresh; /* a conversion has ended since the last read */
};

struct bus {
    avr_spi_t *spi;
    struct converter converter[2];
    uint64_t done;
    uint32_t conversion;
    uint8_t in;
    bool is_busy;
};

struct pin {
    uint64_t edge, on;
    uint64_t history[SHIM_HISTORY];
    uint32_t edges;
    bool is_high;
};

struct port {
    avr_ioport_t *io;
    avr_io_write_t pin_write; /* the simulator's own */
    void *pin_param;
    uint8_t value, direction;
    uint8_t outside; /* levels that the world puts on inputs */
    uint8_t held;    /* inputs that the world holds at all */
};

struct enable {
    double gain, decay, pull, drop;
    double charge; /* at `at` */
    uint64_t at;
    uint64_t changed;
    bool is_on;
};

struct eeprom {
    avr_eeprom_t *io;
    uint8_t bytes[SHIM_EEPROM_BYTES];
    uint64_t done;
    uint64_t opened; /* when EEMPE was written */
    uint32_t write_cycles;
    uint32_t writes;
    uint16_t address; /* of the byte being written */
    bool is_writing;
    bool is_open;
};

struct fuses {
    avr_io_write_t write; /* the simulator's own */
    void *param;
    uint8_t bytes[FUSE_BYTES]; /* or the flash that they stand in for */
    bool are_shown;
};

struct shim {
    avr_t *avr;
    avr_watchdog_t *watchdog;
    avr_irq_t *analogue;
    void (*core_reset)(avr_t *avr);
    uint64_t fence;
    uint64_t asleep, woke, stretch;
    uint32_t resets;
    uint32_t misused[SHIM_MISUSES];
    enum shim_state state;
    uint16_t switches;
    bool covers;
    struct line line;
    struct bus bus;
    struct port port[PORTS];
    struct pin pin[PINS];
    struct enable enable;
    struct eeprom eeprom;
    struct fuses fuses;
    uint8_t covered[SHIM_FLASH_BYTES / 2u];
};

/* Each part: joins the controller once, forgets what a reset takes away, and sets its timers anew
 * after one, which the simulator wipes with its own. */
void line_join(struct shim *shim);
void line_reset(struct shim *shim);
void line_resume(struct shim *shim);
void bus_join(struct shim *shim);
void bus_reset(struct shim *shim);
void pins_join(struct shim *shim);
void pins_reset(struct shim *shim);
void pins_resume(struct shim *shim);
void enable_join(struct shim *shim);
void eeprom_join(struct shim *shim);
void eeprom_reset(struct shim *shim, bool power);
void eeprom_resume(struct shim *shim);
void fuses_join(struct shim *shim);
void fuses_reset(struct shim *shim);

/* A converter's select went low or high. */
void bus_select(struct shim *shim, uint8_t half, bool is_low);

/* The pulse train rose, having fallen at a cycle. */
void enable_pump(struct shim *shim, uint64_t fell);

/* Calls back at a cycle, or at once where that has passed. */
void shim_call_at(struct shim *shim, uint64_t cycle, avr_cycle_timer_t timer);

/* Takes a register over from the simulator. */
void shim_hook_write(struct shim *shim, uint16_t reg, avr_io_write_t write);
void shim_hook_read(struct shim *shim, uint16_t reg, avr_io_read_t read);

#endif
