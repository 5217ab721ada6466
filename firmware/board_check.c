/* The tests of the controller itself, those of the start and those that run all the time, and what
 * outlasts a reset. Data sheet facts are from the ATmega328P's "8-bit AVR Microcontroller" data
 * sheet: chapters "System Control and Reset", "Boot Loader Support" and "Memory Programming". */
#include "board.h"

#include <avr/boot.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>

#include "pins.h"
#include "wire.h"

/* The watchdog's 0.125 s against the crystal, in ticks: its oscillator may be 10 % off over supply
 * and temperature (data sheet, typical characteristics). A crystal of 12 MHz or less is off by more;
 * one of 20 MHz may pass. */
#define WATCHDOG_TICKS_LEAST 190u
#define WATCHDOG_TICKS_MOST 330u

/* Programmed bits read 0. High: EESAVE keeps latch and limits through flashing, WDTON makes the
 * watchdog's reset unconditional, no boot loader. Extended: brown-out at 4.3 V. */
#define FUSE_HIGH_MASK 0x11u /* WDTON and BOOTRST */
#define FUSE_HIGH_RIGHT 0x01u
#define FUSE_EXTENDED_MASK 0x07u
#define FUSE_EXTENDED_RIGHT 0x04u

#define PAINT 0xC5u /* fills the stack's room before use, so that its depth can be read */
#define REMEMBERED 0x7A3Eu
#define FLASH_BYTES_A_SLICE 8u
#define RAM_BYTES_A_SLICE 2u

enum stage { STAGE_BITING = 0x3C, STAGE_BITTEN = 0xA5, STAGE_TOOTHLESS = 0x5A };

/* What outlasts a reset, though not the loss of power. */
struct remembered {
    uint16_t mark;
    uint16_t ticks; /* that the watchdog took to bite */
    uint8_t stage;
    uint8_t cause;
    uint8_t resets; /* unplanned, by the watchdog */
    uint8_t resets_inverted;
};

extern uint8_t __noinit_start[];
extern uint8_t __noinit_end[];
extern uint8_t __heap_start[]; /* where the stack's room begins */
extern const uint8_t __data_load_end[];

/* Patched after linking: CRC-32 of the whole image, these four bytes left out. */
const uint32_t board_stamp PROGMEM __attribute__((used)) = 0xFFFFFFFFu;

static uint16_t flash_at;
static uint32_t flash_crc;
static uint8_t *ram_at;
static bool slices_failed;
static struct remembered remembered __attribute__((section(".noinit")));

/* Before anything else, and before the stack is used: outputs off, watchdog on, registers, RAM.
 * Order matters: the first write of each port is its off level, then the direction. */
void board_early(void) __attribute__((naked, used, section(".init3")));
void board_early(void)
{
    PORTB = PINS_B_START;
    PORTC = PINS_C_START;
    PORTD = PINS_D_START;
    DDRB = PINS_B_OUT;
    DDRC = PINS_C_OUT;
    DDRD = PINS_D_OUT;
    GPIOR0 = MCUSR;
    MCUSR = 0;
    GPIOR1 = 0;
    wdt_reset();
    WDTCSR = (1u << WDCE) | (1u << WDE);
    WDTCSR = (1u << WDE) | (1u << WDP1) | (1u << WDP0); /* 0.125 s */
    /* Every register takes both patterns; one that does not stops here, outputs off. */
    __asm__ volatile(
        "    ldi r16, 0x55                           \n"
        "1:                                          \n"
        ".irp n, "
        "0,1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,17,18,19,20,21,22,23,24,25,26,27,28,29,30,31\n"
        "    mov r\\n, r16                           \n"
        "    cp r\\n, r16                            \n"
        "2:  brne 2b                                 \n"
        ".endr                                       \n"
        "    com r16                                 \n"
        "    brpl 3f                                 \n"
        "    rjmp 1b                                 \n"
        "3:  cpi r16, 0x55                           \n"
        "4:  brne 4b                                 \n"
        "    clr r1                                  \n" ::
            : "memory");
    /* March over all RAM but what must outlast a reset: each byte takes 0x55, then 0xAA while
     * ascending, then the paint while descending. */
    __asm__ volatile("    ldi r16, 0x55                           \n"
                     "    ldi r17, 0xAA                           \n"
                     "    ldi r18, %[paint]                       \n"
                     "    rjmp march_start                        \n"
                     "march_bad:                                  \n"
                     "    ldi r20, 1                              \n"
                     "    out %[flag], r20                        \n"
                     "    rjmp march_end                          \n"
                     "march_start:                                \n"
                     "    ldi r26, lo8(0x0100)                    \n"
                     "    ldi r27, hi8(0x0100)                    \n"
                     "3:  cpi r26, lo8(__noinit_start)            \n"
                     "    ldi r20, hi8(__noinit_start)            \n"
                     "    cpc r27, r20                            \n"
                     "    brne 4f                                 \n"
                     "    ldi r26, lo8(__noinit_end)              \n"
                     "    ldi r27, hi8(__noinit_end)              \n"
                     "4:  st X+, r16                              \n"
                     "    cpi r26, lo8(%[top])                    \n"
                     "    ldi r20, hi8(%[top])                    \n"
                     "    cpc r27, r20                            \n"
                     "    brne 3b                                 \n"
                     "    ldi r26, lo8(0x0100)                    \n"
                     "    ldi r27, hi8(0x0100)                    \n"
                     "5:  cpi r26, lo8(__noinit_start)            \n"
                     "    ldi r20, hi8(__noinit_start)            \n"
                     "    cpc r27, r20                            \n"
                     "    brne 6f                                 \n"
                     "    ldi r26, lo8(__noinit_end)              \n"
                     "    ldi r27, hi8(__noinit_end)              \n"
                     "6:  ld r20, X                               \n"
                     "    cp r20, r16                             \n"
                     "    brne march_bad                          \n"
                     "    st X+, r17                              \n"
                     "    cpi r26, lo8(%[top])                    \n"
                     "    ldi r20, hi8(%[top])                    \n"
                     "    cpc r27, r20                            \n"
                     "    brne 5b                                 \n"
                     "7:  cpi r26, lo8(__noinit_end)              \n"
                     "    ldi r20, hi8(__noinit_end)              \n"
                     "    cpc r27, r20                            \n"
                     "    brne 8f                                 \n"
                     "    ldi r26, lo8(__noinit_start)            \n"
                     "    ldi r27, hi8(__noinit_start)            \n"
                     "8:  ld r20, -X                              \n"
                     "    cp r20, r17                             \n"
                     "    brne march_bad                          \n"
                     "    st X, r18                               \n"
                     "    cpi r26, lo8(0x0100)                    \n"
                     "    ldi r20, hi8(0x0100)                    \n"
                     "    cpc r27, r20                            \n"
                     "    brne 7b                                 \n"
                     "march_end:                                  \n" ::[paint] "M"(PAINT),
                     [flag] "I"(_SFR_IO_ADDR(GPIOR1)), [top] "i"(RAMEND + 1)
                     : "r16", "r17", "r18", "r20", "r26", "r27", "memory");
}

static bool fuses_are_right(void)
{
    uint8_t high = boot_lock_fuse_bits_get(GET_HIGH_FUSE_BITS);
    uint8_t extended = boot_lock_fuse_bits_get(GET_EXTENDED_FUSE_BITS);
    return (high & FUSE_HIGH_MASK) == FUSE_HIGH_RIGHT &&
           (extended & FUSE_EXTENDED_MASK) == FUSE_EXTENDED_RIGHT;
}

static enum board_cause cause_of(uint8_t flags)
{
    if ((flags & (1u << PORF)) != 0u) {
        return BOARD_POWER;
    }
    if ((flags & (1u << BORF)) != 0u) {
        return BOARD_BROWNOUT;
    }
    if ((flags & (1u << WDRF)) != 0u) {
        return BOARD_WATCHDOG;
    }
    return (flags & (1u << EXTRF)) != 0u ? BOARD_BUTTON : BOARD_UNKNOWN;
}

/* Waits for the watchdog and counts ticks meanwhile. Comes back only if it does not bite. */
static void wait_for_bite(void)
{
    remembered.stage = STAGE_BITING;
    remembered.ticks = 0;
    wdt_reset();
    while (remembered.ticks < 4u * WATCHDOG_TICKS_MOST) {
        if ((TIFR1 & (1u << OCF1A)) != 0u) {
            TIFR1 = 1u << OCF1A;
            remembered.ticks++;
        }
    }
    remembered.stage = STAGE_TOOTHLESS;
}

/* Decides from what was remembered why this start is; a cold one tests the watchdog first, and so
 * does one that interrupted that test. */
static bool watchdog_is_right(void)
{
    enum board_cause cause = cause_of(GPIOR0);
    bool known =
        remembered.mark == REMEMBERED && (remembered.resets ^ remembered.resets_inverted) == 0xFFu;
    bool interrupted = remembered.stage == STAGE_BITING && cause != BOARD_WATCHDOG;
    if (cause == BOARD_POWER || cause == BOARD_BROWNOUT || !known || interrupted) {
        remembered.mark = REMEMBERED;
        remembered.resets = 0;
        remembered.resets_inverted = 0xFFu;
        remembered.cause = (uint8_t)cause;
        wait_for_bite();
    } else if (cause == BOARD_WATCHDOG && remembered.stage == STAGE_BITING) {
        remembered.stage = STAGE_BITTEN; /* the cause is that of the start before */
    } else {
        remembered.cause = (uint8_t)cause;
        if (cause == BOARD_WATCHDOG && remembered.resets < 0xFFu) {
            remembered.resets++;
            remembered.resets_inverted = (uint8_t)~remembered.resets;
        }
    }
    return remembered.stage == STAGE_BITTEN && remembered.ticks >= WATCHDOG_TICKS_LEAST &&
           remembered.ticks <= WATCHDOG_TICKS_MOST;
}

static void begin_flash(void)
{
    flash_at = 0;
    flash_crc = 0xFFFFFFFFu;
}

/* Goes on with the CRC of the image; returns false if it ended and was wrong. */
static bool check_flash(uint8_t bytes)
{
    uint16_t end = (uint16_t)__data_load_end;
    uint16_t stamp = (uint16_t)&board_stamp;
    for (uint8_t count = 0; count < bytes; count++) {
        if (flash_at >= end) {
            bool right = (flash_crc ^ 0xFFFFFFFFu) == board_image_crc();
            begin_flash();
            return right;
        }
        if (flash_at == stamp) {
            flash_at = (uint16_t)(flash_at + sizeof board_stamp);
        }
        flash_crc = wire_crc_step(flash_crc, pgm_read_byte(flash_at));
        flash_at++;
    }
    return true;
}

static bool check_whole_flash(void)
{
    bool right = true;
    begin_flash();
    do {
        wdt_reset();
        right = check_flash(128u) && right;
    } while (flash_at != 0u);
    return right;
}

/* What is driven low must read low: a pin that is tied up heats, or holds the contactor's pin. */
static bool outputs_read_low(void)
{
    return (PIND & (PIN_HEATER_UPPER_MASK | PIN_HEATER_LOWER_MASK | PIN_CONTACTOR_TRAIN_MASK)) ==
           0u;
}

uint16_t board_start(void)
{
    board_start_peripherals();
    uint16_t passed = watchdog_is_right() ? BOARD_PASSED_WATCHDOG : 0u;
    passed |= GPIOR1 == 0u ? BOARD_PASSED_EARLY : 0u;
    passed |= fuses_are_right() ? BOARD_PASSED_FUSES : 0u;
    passed |= outputs_read_low() ? BOARD_PASSED_OUTPUTS : 0u;
    passed |= check_whole_flash() ? BOARD_PASSED_FLASH : 0u;
    ram_at = (uint8_t *)RAMSTART;
    board_start_tick();
    return passed;
}

enum board_cause board_cause(void)
{
    return (enum board_cause)remembered.cause;
}

uint8_t board_watchdog_resets(void)
{
    return remembered.resets;
}

void board_forget_watchdog_resets(void)
{
    remembered.resets = 0;
    remembered.resets_inverted = 0xFFu;
}

uint32_t board_image_crc(void)
{
    return pgm_read_dword(&board_stamp);
}

/* One byte takes its complement and its own value back, unseen by any interrupt. */
static bool check_ram(uint8_t *at)
{
    volatile uint8_t *byte = at;
    uint8_t flags = SREG;
    cli();
    uint8_t value = *byte;
    *byte = (uint8_t)~value;
    bool right = (*byte ^ value) == 0xFFu;
    *byte = value;
    right = *byte == value && right;
    SREG = flags;
    return right;
}

bool board_test_slice(void)
{
    for (uint8_t count = 0; count < RAM_BYTES_A_SLICE; count++) {
        if (!check_ram(ram_at)) {
            slices_failed = true;
        }
        ram_at = ram_at >= (uint8_t *)RAMEND ? (uint8_t *)RAMSTART : ram_at + 1;
    }
    if (__heap_start[0] != PAINT || __heap_start[1] != PAINT || !check_flash(FLASH_BYTES_A_SLICE)) {
        slices_failed = true;
    }
    return !slices_failed;
}

uint32_t board_noise(void)
{
    return ((uint32_t)remembered.ticks << 16) ^ ((uint32_t)TCNT1 << 8) ^ board_read_force();
}
