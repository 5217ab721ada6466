#include "board.h"
#include "pins.h"
#include "unit.h"

#ifndef WINDOW_MS
#define WINDOW_MS 1000u
#endif
#ifndef LEAST_MS
#define LEAST_MS 0u
#endif
#ifndef CAP
#define CAP 2000u
#endif
#ifndef ZONES
#define ZONES 2u
#endif
#ifndef FIT
#define FIT 0x3Bu /* all but the force channel */
#endif

/* A board that is built for something else heats otherwise than the page says. */
_Static_assert(LEAST_MS == 0u ? WINDOW_MS >= 1000u && WINDOW_MS <= 2000u
                              : WINDOW_MS == 20000u && LEAST_MS == 2000u,
               "a window of 1 to 2 s, or 20 s with a minimum of 2 s");
_Static_assert(CAP >= 1000u && CAP <= 2000u, "both duties may sum to 1000 to 2000");
_Static_assert(ZONES == 1u || ZONES == 2u, "one half or two");
_Static_assert((FIT & ~0x3Fu) == 0u, "six things can be fitted");

static struct unit unit;
static uint8_t line[WIRE_FROM_BOARD_ROOM];

static void start(void)
{
    uint16_t passed = board_start();
    uint32_t now_ms = board_now_ms();
    const struct unit_build build = {
        .output = {.window_ms = WINDOW_MS, .least_ms = LEAST_MS, .cap = CAP},
        .id = board_image_crc(),
        .zones = ZONES,
        .fit = FIT,
    };
    const struct unit_birth birth = {
        .peek = board_eeprom_peek,
        .noise = board_noise(),
        .switches = board_switches(),
        .cause = (enum unit_cause)board_cause(),
    };
    unit_start(&unit, &build, &birth, now_ms);
    unit_end_selftest(
        &unit, passed == BOARD_PASSED && board_watchdog_resets() < BOARD_WATCHDOG_RESETS_MOST,
        now_ms);
}

/* Brings the pins up to date; returns the milliseconds until they must be looked at again. */
static uint16_t set_pins(uint32_t now_ms)
{
    board_set_pins(unit_pins(&unit, now_ms));
    return output_rest_ms(&unit.output);
}

static uint16_t pass(uint32_t now_ms)
{
    uint16_t began = board_clock_10us();
    if (unit_begin_pass(&unit)) {
        const uint32_t raw[SAFETY_HALVES] = {
            board_read_converter(SAFETY_UPPER),
            board_read_converter(SAFETY_LOWER),
        };
        unit_read(&unit, raw, board_read_identity(), board_read_force(), now_ms);
    }
    unit_pass(&unit, now_ms);
    unit_take_slice(&unit, board_test_slice(), now_ms);
    uint16_t rest_ms = set_pins(now_ms);
    bool whole = unit_flow_is_right(&unit);
    if (whole && unit_wants_contactor(&unit)) {
        board_permit();
    } else {
        board_forbid();
    }
    if (now_ms >= BOARD_CALM_MS) {
        board_forget_watchdog_resets();
    }
    unit_note_pass(&unit, (uint16_t)(board_clock_10us() - began));
    if (whole) {
        board_feed_watchdog();
    }
    return rest_ms;
}

int main(void)
{
    uint32_t tick_ms;
    uint32_t pass_ms;
    uint16_t rest_ms = 0;
    start();
    tick_ms = board_now_ms();
    pass_ms = tick_ms - tick_ms % SAFETY_PASS_MS; /* the first at a whole multiple of the clock */
    for (;;) {
        uint32_t now_ms = board_now_ms();
        uint8_t byte;
        bool acted = false;
        while (board_receive(&byte)) {
            acted = unit_hear(&unit, byte, now_ms) || acted;
        }
        bool ticked = now_ms != tick_ms;
        if (ticked) {
            uint32_t passed_ms = now_ms - tick_ms;
            tick_ms = now_ms;
            rest_ms = passed_ms < rest_ms ? (uint16_t)(rest_ms - passed_ms) : 0u;
            if (now_ms % BUTTONS_SAMPLE_MS == 0u) {
                acted = unit_take_switches(&unit, board_switches(), now_ms) || acted;
            }
            if (now_ms - pass_ms >= SAFETY_PASS_MS) {
                /* A late pass does not delay those after it; one missed is missed. */
                pass_ms =
                    now_ms - pass_ms < 2u * SAFETY_PASS_MS ? pass_ms + SAFETY_PASS_MS : now_ms;
                rest_ms = pass(now_ms);
            }
        }
        /* Off before anything is said of it. */
        if (acted && !unit_wants_contactor(&unit)) {
            board_forbid();
        }
        if (acted || rest_ms == 0u) {
            rest_ms = set_pins(now_ms);
        }
        if (ticked) {
            if (!board_is_sending() && unit_has_line(&unit)) {
                board_send(line, unit_line(&unit, line));
            }
            if (board_eeprom_is_ready()) {
                uint16_t address = 0;
                uint8_t value = 0;
                if (memory_next(&unit.memory, board_eeprom_peek, &address, &value)) {
                    board_eeprom_write(address, value);
                }
            }
        }
        board_sleep();
    }
}
