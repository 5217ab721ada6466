/* The whole board as a function of time: bytes, switches and registers in; lines, pins and bytes to
 * keep out. It has no register of the controller: main.c joins it to board_avr.c, tests to arrays.
 *
 * unit.c runs the passes, requests.c carries requests out, lines.c composes what is sent. */
#ifndef UNIT_H
#define UNIT_H

#include <stdbool.h>
#include <stdint.h>

#include "buttons.h"
#include "memory.h"
#include "output.h"
#include "safety.h"
#include "sense.h"
#include "session.h"
#include "signals.h"
#include "wire.h"

#define UNIT_PROTOCOL_MAJOR 1u
#define UNIT_PROTOCOL_MINOR 0u
#define UNIT_STAT_MS 1000u
#define UNIT_ECHO_MS 2000u
#define UNIT_CHAIN_MS 100u /* so long the chain must be dead behind a live supply: a thermostat */
#define UNIT_REPLIES 3u

/* What is fitted: bits of `limits.fit`. */
#define UNIT_FIT_SWITCH 0x01u
#define UNIT_FIT_NEXT 0x02u
#define UNIT_FIT_FORCE 0x04u
#define UNIT_FIT_IDENTITY 0x08u
#define UNIT_FIT_LAMP 0x10u
#define UNIT_FIT_BUZZER 0x20u

/* Pins that are on: bits of unit_pins. */
#define UNIT_PIN_HEATER_UPPER 0x01u
#define UNIT_PIN_HEATER_LOWER 0x02u
#define UNIT_PIN_HOT_LAMP 0x04u
#define UNIT_PIN_CALL_LAMP 0x08u
#define UNIT_PIN_BUZZER 0x10u

/* In the order in which PROTOCOL.md lists the words of `cause`. */
enum unit_cause {
    UNIT_CAUSE_POWER,
    UNIT_CAUSE_BUTTON,
    UNIT_CAUSE_BROWNOUT,
    UNIT_CAUSE_WATCHDOG,
    UNIT_CAUSE_UNKNOWN
};

/* What this board is built as. */
struct unit_build {
    struct output_build output;
    uint32_t id; /* `build` */
    uint8_t zones;
    uint8_t fit;
};

/* How it starts. */
struct unit_birth {
    memory_peek peek;
    uint32_t noise; /* anything that is not the same at each start */
    uint16_t switches;
    enum unit_cause cause;
};

/* A reply that waits for the line to be free; the rest is composed when it is sent. */
struct unit_reply {
    uint32_t value;
    uint16_t q;
    enum wire_kind kind;
};

struct unit {
    uint32_t now_ms;
    uint32_t read_ms;    /* of the last read: `ms` of telemetry */
    uint32_t chain_ms;   /* since when the chain is dead behind a live supply */
    uint32_t lines;      /* telemetry lines since the start */
    uint16_t event_sent; /* number of the last entry of the log that was sent */
    uint16_t setpoint[SAFETY_HALVES];
    uint16_t delivered_ms[SAFETY_HALVES]; /* at the last read */
    uint16_t switches; /* filtered, SAFETY_IN_ bits; THERMOSTAT there means: chain dead */
    uint16_t force;
    uint16_t longest_pass; /* hundredths of a millisecond, since the last status */
    uint8_t passes;        /* modulo 20 */
    uint8_t identity;      /* step of the mould-identity resistor, 0 none */
    uint8_t identity_seen; /* at the last look */
    uint8_t flow;          /* signature of the stages of this pass */
    uint8_t replies_waiting;
    bool boot_due;
    bool tele_due;
    bool stat_due;
    bool chain_dead;
    bool replied; /* the last line was a reply */
    bool was_in;  /* the contactor was wanted at the last look */
    enum unit_cause cause;
    memory_peek peek;
    struct unit_reply replies[UNIT_REPLIES];
    struct unit_build build;
    struct session session;
    struct buttons_filter filter;
    struct buttons_arm arm;
    struct buttons_next next;
    struct signals signals;
    struct sense sense[SAFETY_HALVES];
    struct output output;
    struct memory memory;
    struct wire_receiver receiver;
    struct safety safety;
};

void unit_start(struct unit *unit, const struct unit_build *build, const struct unit_birth *birth,
                uint32_t now_ms);

/* The tests of the start have ended. */
void unit_end_selftest(struct unit *unit, bool passed, uint32_t now_ms);

/* Takes one byte of the line; returns whether a request was answered. */
bool unit_hear(struct unit *unit, uint8_t byte, uint32_t now_ms);

/* Takes a sample of the switches, each BUTTONS_SAMPLE_MS; SAFETY_IN_ bits, THERMOSTAT: chain dead.
 * Returns whether any has moved. */
bool unit_take_switches(struct unit *unit, uint16_t switches, uint32_t now_ms);

/* Begins the pass of this moment; returns whether it reads the converters. */
bool unit_begin_pass(struct unit *unit);

/* Takes both registers and the two analogue inputs, where the pass reads, before unit_pass. */
void unit_read(struct unit *unit, const uint32_t raw[SAFETY_HALVES], uint16_t identity,
               uint16_t force, uint32_t now_ms);

/* What is decided in one pass, each SAFETY_PASS_MS. */
void unit_pass(struct unit *unit, uint32_t now_ms);

/* Takes what the pass has found of the tests that run all the time. */
void unit_take_slice(struct unit *unit, bool passed, uint32_t now_ms);

/* Notes how long the pass took, in hundredths of a millisecond. */
void unit_note_pass(struct unit *unit, uint16_t took);

/* Returns, after the pins, whether every stage of the pass has run, once and in order. */
bool unit_flow_is_right(const struct unit *unit);

/* Returns which outputs are on at this moment, UNIT_PIN_ bits. */
uint8_t unit_pins(struct unit *unit, uint32_t now_ms);

/* Returns whether the contactor is to be in. */
bool unit_wants_contactor(const struct unit *unit);

/* Returns whether a line is due. */
bool unit_has_line(const struct unit *unit);

/* Composes the next line that is due; returns its length, 0 if none is. */
uint8_t unit_line(struct unit *unit, uint8_t bytes[WIRE_FROM_BOARD_ROOM]);

/* Returns the step of an identity resistor against 10 kOhm, 1 to 8; 0: none, or in between. */
uint8_t unit_identity_step(uint16_t adc);

/* ---- inside: for the sources of this header ---- */

/* Carries out what the core has decided: outputs, log, lasting memory. */
void unit_obey(struct unit *unit, uint32_t now_ms);

/* Carries a request out or refuses it. */
void unit_answer(struct unit *unit, const struct wire_line *request, uint32_t now_ms);

/* Judge by what is stored of the mould in use; says an event. */
void unit_judge_by_slot(struct unit *unit, enum safety_event code);

#endif
