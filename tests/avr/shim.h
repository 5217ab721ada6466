/* One board in simulation: the controller with its image, the converters, switches and line around
 * it.
 *
 * This shim is linked with libsimavr, which is under the GPL, version 3: it is a test tool, built
 * from the checkout where somebody asks for it, and never part of the installed package.
 *
 * Time is counted in cycles of the controller's clock from the first start on and goes on through
 * resets. Nothing here is shared between boards. */
#ifndef SHIM_H
#define SHIM_H

#include <stdbool.h>
#include <stdint.h>

#define SHIM_HZ 16000000u
#define SHIM_FLASH_BYTES 32768u
#define SHIM_RAM_BEGIN 0x100u
#define SHIM_RAM_END 0x900u
#define SHIM_EEPROM_BYTES 1024u
#define SHIM_HISTORY 32u /* edges of a pin that are remembered, a power of two */

struct shim;

enum shim_state {
    SHIM_RUNS,
    SHIM_SLEEPS_FOR_EVER, /* asleep with interrupts off: the image has failed */
    SHIM_CRASHED          /* an opcode that is none, or a jump out of the flash */
};

/* What an image must never do; the simulation counts it and goes on. */
enum shim_misuse {
    SHIM_MISUSE_EEPROM, /* EEPROM touched while a byte is being written */
    SHIM_MISUSE_BUS, /* serial bus faster than the converters, wrong mode, or written while busy */
    SHIM_MISUSE_SELECT, /* both converters selected */
    SHIM_MISUSE_LINE,   /* line rate or frame other than 38400 8N1, or a byte over another */
    SHIM_MISUSES
};

/* ---- chip.c ---- */

/* Makes a board with this flash, powered up; NULL where the simulator knows no such controller. */
struct shim *shim_new(const uint8_t *flash, uint32_t length);
void shim_free(struct shim *shim);

/* Runs up to a cycle, or until the image fails. */
enum shim_state shim_run(struct shim *shim, uint64_t until);

/* Runs until the program counter stands at a byte address; false: not before `until`. */
bool shim_run_to(struct shim *shim, uint32_t address, uint64_t until);

/* Resets with these flags in MCUSR; with the power-on flag RAM and registers lose their content. */
void shim_reset(struct shim *shim, uint8_t flags);

uint64_t shim_cycle(const struct shim *shim);
enum shim_state shim_state(const struct shim *shim);
uint64_t shim_asleep(const struct shim *shim);  /* cycles of all that it has slept */
uint64_t shim_stretch(struct shim *shim);       /* the longest awake since the last call */
uint32_t shim_resets(const struct shim *shim);  /* the image's own included */
uint32_t shim_counter(const struct shim *shim); /* program counter, bytes */
uint32_t shim_misused(const struct shim *shim, enum shim_misuse what);

uint8_t shim_peek(const struct shim *shim, uint16_t address);
void shim_poke(struct shim *shim, uint16_t address, uint8_t value);

/* Writes a register, or a byte of RAM, as the image would. */
void shim_store(struct shim *shim, uint16_t address, uint8_t value);
void shim_flip_flash(struct shim *shim, uint32_t address, uint8_t bits);

/* With coverage on, each executed word of flash is marked by a 1; slower by far. */
void shim_cover(struct shim *shim, bool on);
const uint8_t *shim_covered(const struct shim *shim);

/* ---- line.c ---- */

/* 0: the line's real rate. Else a byte takes so many cycles, and one towards the board waits until
 * the image has nothing more to do and sleeps. */
void shim_set_line(struct shim *shim, uint32_t byte_cycles);

/* Queues bytes towards the board; returns how many found room. */
uint32_t shim_hear(struct shim *shim, const uint8_t *bytes, uint32_t count);
uint32_t shim_said(struct shim *shim, uint8_t *bytes, uint32_t most);
uint32_t shim_unheard(const struct shim *shim); /* queued, or not yet taken by the image */
bool shim_talks(const struct shim *shim);
uint32_t shim_overruns(const struct shim *shim);

/* ---- bus.c ---- */

/* What a converter measures from now on; half 0 upper, 1 lower. */
void shim_set_register(struct shim *shim, uint8_t half, uint32_t value);
void shim_set_conversion(struct shim *shim, uint32_t cycles);
uint32_t shim_reads(const struct shim *shim, uint8_t half);
uint32_t shim_early_reads(const struct shim *shim, uint8_t half); /* that found no new value */

/* ---- pins.c ---- */

/* Switches as bits of `tele.in`, as the pins show them. */
void shim_set_switches(struct shim *shim, uint16_t inputs);
void shim_set_analogue(struct shim *shim, uint8_t channel, uint32_t millivolts);

/* A pin is 8 * (port - 'B') + bit. Levels are those of the wire: resistors count. */
bool shim_level(const struct shim *shim, uint8_t pin);
uint64_t shim_on_cycles(const struct shim *shim, uint8_t pin);
uint64_t shim_edge(const struct shim *shim, uint8_t pin); /* cycle of the last edge */
uint32_t shim_edges(const struct shim *shim, uint8_t pin);

/* Writes the cycles of the last edges, newest first; returns how many. */
uint32_t shim_history(const struct shim *shim, uint8_t pin, uint64_t *cycles, uint32_t most);

/* ---- enable.c ---- */

/* The contactor's enable circuit: each rising edge adds `gain` of what is missing to the charge,
 * which decays with `decay_cycles`; it pulls in above `pull`, lets go below `drop`. */
void shim_set_enable(struct shim *shim, double gain, double decay_cycles, double pull, double drop);
bool shim_enabled(const struct shim *shim);
uint64_t shim_enable_changed(const struct shim *shim); /* cycle of the last change */

/* ---- eeprom.c ---- */

void shim_load_eeprom(struct shim *shim, const uint8_t *bytes);
void shim_dump_eeprom(const struct shim *shim, uint8_t *bytes);
void shim_set_write_time(struct shim *shim, uint32_t cycles); /* of one byte */
uint32_t shim_writes(const struct shim *shim);                /* bytes written so far */
bool shim_is_writing(const struct shim *shim);

/* ---- fuses.c ---- */

/* 0 low, 1 lock, 2 extended, 3 high. */
void shim_set_fuse(struct shim *shim, uint8_t number, uint8_t value);

#endif
