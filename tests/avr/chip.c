/* The controller itself: making it, running it, resetting it. See shim.h. */
#include "parts.h"

#include <simavr/sim_core.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BURST_CYCLES 2000u /* instructions run so long between two looks at the timers */
#define POWER_ON 0x01u
#define REGISTERS 32u
#define WATCHDOG 0x08u
#define ADC_MILLIVOLTS 5000u

static void log_errors(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, arguments);
    }
}

/* Stands in for the simulator's sleep, which would wait for the wall clock. */
static void do_not_wait(avr_t *avr, avr_cycle_count_t cycles)
{
    struct shim *shim = avr->custom.data;
    uint64_t stretch = avr->cycle - shim->woke;
    shim->stretch = stretch > shim->stretch ? stretch : shim->stretch;
    shim->asleep += cycles + 1u;
    shim->woke = avr->cycle + cycles + 1u;
}

static void after_reset(avr_t *avr)
{
    struct shim *shim = avr->custom.data;
    shim->core_reset(avr);
    shim->resets++;
    line_reset(shim);
    bus_reset(shim);
    pins_reset(shim);
}

static void find_parts(struct shim *shim)
{
    avr_t *avr = shim->avr;
    for (avr_io_t *io = avr->io_port; io; io = io->next) {
        if (!strcmp(io->kind, "spi")) {
            shim->bus.spi = (avr_spi_t *)io;
        } else if (!strcmp(io->kind, "uart")) {
            shim->line.uart = (avr_uart_t *)io;
        } else if (!strcmp(io->kind, "eeprom")) {
            shim->eeprom.io = (avr_eeprom_t *)io;
        } else if (!strcmp(io->kind, "watchdog")) {
            shim->watchdog = (avr_watchdog_t *)io;
        } else if (!strcmp(io->kind, "port")) {
            avr_ioport_t *port = (avr_ioport_t *)io;
            shim->port[port->name - 'B'].io = port;
        }
    }
    shim->analogue = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0);
}

/* What RAM and registers hold when power comes is chance; here it is always the same one. */
static void lose_memory(avr_t *avr)
{
    uint32_t chance = 0x2545f491u;
    for (uint32_t at = 0; at < SHIM_RAM_END; at++) {
        chance ^= chance << 13;
        chance ^= chance >> 17;
        chance ^= chance << 5;
        if (at < REGISTERS || at >= SHIM_RAM_BEGIN) {
            avr->data[at] = (uint8_t)chance;
        }
    }
}

struct shim *shim_new(const uint8_t *flash, uint32_t length)
{
    struct shim *shim = calloc(1, sizeof *shim);
    if (!shim || length > SHIM_FLASH_BYTES) {
        free(shim);
        return NULL;
    }
    avr_global_logger_set(log_errors);
    avr_t *avr = shim->avr = avr_make_mcu_by_name("atmega328p");
    if (!avr) {
        free(shim);
        return NULL;
    }
    avr_init(avr);
    avr->frequency = SHIM_HZ;
    avr->vcc = avr->avcc = avr->aref = ADC_MILLIVOLTS;
    avr_loadcode(avr, (uint8_t *)flash, length, 0);
    avr->codeend = SHIM_FLASH_BYTES;
    avr->sleep = do_not_wait;
    avr->custom.data = shim;
    find_parts(shim);
    line_join(shim);
    bus_join(shim);
    pins_join(shim);
    enable_join(shim);
    eeprom_join(shim);
    fuses_join(shim);
    shim->core_reset = avr->reset;
    avr->reset = after_reset;
    shim_reset(shim, POWER_ON);
    shim->resets = 0;
    return shim;
}

void shim_free(struct shim *shim)
{
    avr_terminate(shim->avr);
    free(shim->avr);
    free(shim);
}

static avr_cycle_count_t reach_fence(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    (void)when;
    (void)param;
    return 0;
}

void shim_call_at(struct shim *shim, uint64_t cycle, avr_cycle_timer_t timer)
{
    uint64_t now = shim->avr->cycle;
    avr_cycle_timer_register(shim->avr, cycle > now ? cycle - now : 1, timer, shim);
}

/* Sets what a reset has cost the parts around the controller. */
static void resume(struct shim *shim, bool power)
{
    fuses_reset(shim);
    eeprom_reset(shim, power);
    line_resume(shim);
    pins_resume(shim);
    eeprom_resume(shim);
}

/* Returns whether the image still runs; a reset within has cost every timer. */
static bool step(struct shim *shim)
{
    avr_t *avr = shim->avr;
    uint32_t resets = shim->resets;
    if (shim->covers) {
        shim->covered[(avr->pc >> 1) % sizeof shim->covered] = 1;
    }
    int state = avr_run(avr);
    if (shim->resets != resets) {
        resume(shim, false);
        shim_call_at(shim, shim->fence, reach_fence);
    }
    if (state == cpu_Done) {
        shim->state = SHIM_SLEEPS_FOR_EVER;
    } else if (state == cpu_Crashed) {
        shim->state = SHIM_CRASHED;
    }
    return shim->state == SHIM_RUNS;
}

enum shim_state shim_run(struct shim *shim, uint64_t until)
{
    avr_t *avr = shim->avr;
    if (shim->state != SHIM_RUNS || avr->cycle >= until) {
        return shim->state;
    }
    shim->fence = until;
    shim_call_at(shim, until, reach_fence);
    do {
        avr->run_cycle_limit = shim->covers ? 1 : BURST_CYCLES;
    } while (step(shim) && avr->cycle < until);
    return shim->state;
}

bool shim_run_to(struct shim *shim, uint32_t address, uint64_t until)
{
    avr_t *avr = shim->avr;
    shim->fence = until;
    shim_call_at(shim, until, reach_fence);
    while (shim->state == SHIM_RUNS && avr->cycle < until) {
        if (avr->pc == address) {
            return true;
        }
        avr->run_cycle_limit = 1;
        step(shim);
    }
    return false;
}

void shim_reset(struct shim *shim, uint8_t flags)
{
    avr_t *avr = shim->avr;
    if (flags & POWER_ON) {
        lose_memory(avr);
    }
    if (flags & WATCHDOG) {
        /* The simulator then lets the watchdog run on at its shortest time, as the chip does. */
        shim->watchdog->reset_context.avr_run = avr->run;
        shim->watchdog->reset_context.wdrf = 1;
    }
    avr_reset(avr);
    avr->data[REG_MCUSR] = flags;
    shim->state = SHIM_RUNS;
    resume(shim, flags & POWER_ON);
}

uint64_t shim_cycle(const struct shim *shim)
{
    return shim->avr->cycle;
}

enum shim_state shim_state(const struct shim *shim)
{
    return shim->state;
}

uint64_t shim_asleep(const struct shim *shim)
{
    return shim->asleep;
}

uint64_t shim_stretch(struct shim *shim)
{
    uint64_t stretch = shim->stretch;
    shim->stretch = 0;
    return stretch;
}

uint32_t shim_resets(const struct shim *shim)
{
    return shim->resets;
}

uint32_t shim_counter(const struct shim *shim)
{
    return shim->avr->pc;
}

uint32_t shim_misused(const struct shim *shim, enum shim_misuse what)
{
    return shim->misused[what];
}

uint8_t shim_peek(const struct shim *shim, uint16_t address)
{
    return shim->avr->data[address % SHIM_RAM_END];
}

void shim_poke(struct shim *shim, uint16_t address, uint8_t value)
{
    shim->avr->data[address % SHIM_RAM_END] = value;
}

void shim_store(struct shim *shim, uint16_t address, uint8_t value)
{
    avr_t *avr = shim->avr;
    avr_io_addr_t io = AVR_DATA_TO_IO(address);
    if (address == R_SREG) {
        avr->data[R_SREG] = value;
        SET_SREG_FROM(avr, value);
    } else if (address < SHIM_RAM_BEGIN && address >= 32u && avr->io[io].w.c) {
        avr->io[io].w.c(avr, address, value, avr->io[io].w.param);
    } else {
        shim_poke(shim, address, value);
    }
}

void shim_flip_flash(struct shim *shim, uint32_t address, uint8_t bits)
{
    shim->avr->flash[address % SHIM_FLASH_BYTES] ^= bits;
}

void shim_cover(struct shim *shim, bool on)
{
    shim->covers = on;
}

const uint8_t *shim_covered(const struct shim *shim)
{
    return shim->covered;
}

void shim_hook_write(struct shim *shim, uint16_t reg, avr_io_write_t write)
{
    avr_io_addr_t io = AVR_DATA_TO_IO(reg);
    shim->avr->io[io].w.c = write;
    shim->avr->io[io].w.param = shim;
}

void shim_hook_read(struct shim *shim, uint16_t reg, avr_io_read_t read)
{
    avr_io_addr_t io = AVR_DATA_TO_IO(reg);
    shim->avr->io[io].r.c = read;
    shim->avr->io[io].r.param = shim;
}
