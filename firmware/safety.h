/* The safety core: the board's state, its latch, every limit of PROTOCOL.md section 6, and the
 * permission to heat. It knows no line, no register and no duty computation; nothing but these
 * functions writes its state.
 *
 * Temperatures are tenths of a degree Celsius, duties per mille; times count in passes or reads, in
 * counters that stop at their end. Its sources are safety.c (state and conditions), safety_time.c
 * (passes, reads, switches), safety_ask.c (what requests do) and rules.c (what is judged at each
 * read); core.h is theirs alone. */
#ifndef SAFETY_H
#define SAFETY_H

#include <stdbool.h>
#include <stdint.h>

#define SAFETY_HALVES 2u
#define SAFETY_UPPER 0u
#define SAFETY_LOWER 1u

/* Compiled limits, PROTOCOL.md section 6. */
#define SAFETY_PASS_MS 50u
#define SAFETY_READ_MS 200u
#define SAFETY_CEILING 2300
#define SAFETY_TRIP_LEAST 600
#define SAFETY_SETPOINT_MOST 2000
#define SAFETY_SETPOINT_BELOW_TRIP 150
#define SAFETY_RESET_BELOW_TRIP 200
#define SAFETY_HOT 450
#define SAFETY_EXPIRY_LEAST_MS 100u
#define SAFETY_EXPIRY_MOST_MS 1500u
#define SAFETY_CHARGE_FALL 250
#define SAFETY_HEAT_MOST 1000 /* commissioning heat: the half below 100.0 degC ... */
#define SAFETY_HEAT_RISE 20   /* ... 2 K in each 120 s */

/* Times count in passes, down to 0 or up to a limit where they stay: no clock, so nothing wraps. */
#define SAFETY_PASSES(ms) ((uint16_t)((ms) / SAFETY_PASS_MS))
#define SAFETY_DISARM_TIME SAFETY_PASSES(3000u)
#define SAFETY_RELEASE_TIME SAFETY_PASSES(10000u)
#define SAFETY_LINGER_TIME (SAFETY_RELEASE_TIME - SAFETY_DISARM_TIME)
/* Steps of 2 down for a pass in which the mirror contact is not as commanded, of 1 up for one in
 * which it is; never run out before 200 ms are over. */
#define SAFETY_MIRROR_STEPS (2u * (SAFETY_PASSES(200u) + 1u))
#define SAFETY_SELFTEST_TIME SAFETY_PASSES(1000u)
#define SAFETY_CHARGE_TIME SAFETY_PASSES(60000u)
#define SAFETY_OPEN_TIME SAFETY_PASSES(180000u)
#define SAFETY_PRESENCE_WARNING_TIME SAFETY_PASSES(120000u)
#define SAFETY_PRESENCE_TIME (SAFETY_PASSES(1800000u) + SAFETY_PRESENCE_WARNING_TIME)
#define SAFETY_HEAT_TIME SAFETY_PASSES(600000u)
#define SAFETY_HEAT_RISE_TIME SAFETY_PASSES(120000u)

/* Bits of the switches, those of `tele.in`. */
#define SAFETY_IN_OPEN 0x001u
#define SAFETY_IN_NEXT 0x002u
#define SAFETY_IN_ARM 0x004u
#define SAFETY_IN_BUTTON 0x008u
#define SAFETY_IN_THERMOSTAT 0x010u
#define SAFETY_IN_MAINS 0x020u
#define SAFETY_IN_CONTACTOR 0x040u
#define SAFETY_IN_HOT 0x080u
#define SAFETY_IN_WINDOW 0x100u

/* All words below stand in the order in which PROTOCOL.md lists them. */
enum safety_state {
    SAFETY_BOOT,
    SAFETY_SELFTEST,
    SAFETY_LOCKED,
    SAFETY_READY,
    SAFETY_ARMED,
    SAFETY_TRIPPED,
    SAFETY_STATES
};

enum safety_cause {
    SAFETY_NONE,
    SAFETY_OVERTEMP,
    SAFETY_SENSOR,
    SAFETY_DISAGREE,
    SAFETY_NORISE,
    SAFETY_RISEFAST,
    SAFETY_FALLFAST,
    SAFETY_WELDED,
    SAFETY_STUCK,
    SAFETY_MIRROR,
    SAFETY_CHAIN,
    SAFETY_SELFTEST_FAILED,
    SAFETY_CAUSES
};

enum safety_why {
    SAFETY_WHY_NONE,
    SAFETY_WHY_SESSION,
    SAFETY_WHY_SENSOR,
    SAFETY_WHY_MAINS,
    SAFETY_WHY_BUTTON,
    SAFETY_WHY_THERMOSTAT,
    SAFETY_WHY_MOULD,
    SAFETY_WHY_MIRROR,
    SAFETY_WHY_SELFTEST,
    SAFETY_WHY_LATCHED,
    SAFETY_WHYS
};

enum safety_event {
    SAFETY_EVENT_BOOT,
    SAFETY_EVENT_ARMED,
    SAFETY_EVENT_DISARMED,
    SAFETY_EVENT_SILENCE,
    SAFETY_EVENT_RELEASED,
    SAFETY_EVENT_TRIP,
    SAFETY_EVENT_RESET,
    SAFETY_EVENT_CHARGE,
    SAFETY_EVENT_OPENOFF,
    SAFETY_EVENT_FALL,
    SAFETY_EVENT_FULL,
    SAFETY_EVENT_PRESENCE,
    SAFETY_EVENT_MAINS,
    SAFETY_EVENT_TRIPSET,
    SAFETY_EVENT_STORED,
    SAFETY_EVENT_USED,
    SAFETY_EVENT_COMM,
    SAFETY_EVENT_REFARM,
    SAFETY_EVENTS
};

#define RULES_SPAN 25u /* reads in 5 s */

/* What is stored of one half of the mould in use; zeros where nothing is. */
struct rules_mould {
    uint16_t rise; /* R, mK/s */
    uint16_t lag;  /* tenths of a second */
    uint16_t up;   /* seconds */
};

/* One half at one read. */
struct rules_half {
    uint32_t raw;
    int16_t tenths;    /* of this read, or of the last good one */
    uint16_t duty;     /* in force */
    uint16_t taken;    /* as the host sent it */
    uint16_t setpoint; /* tenths, 0: no heat is wanted */
    bool good;         /* this read was good */
};

/* The board as a whole. */
struct rules_around {
    int16_t trip;
    bool armed;
    bool closed;    /* the mould switch does not say open, or none is fitted */
    bool contactor; /* the mirror contact says that it is in */
    bool window;    /* a charge window is open */
};

/* The first thing wrong in the order of the page; `fall` and `full` are no trips. */
struct rules_verdict {
    enum safety_cause trip;
    uint8_t half;
    bool fall;
    bool full;
};

/* What the rules remember of one half. Ages count reads, from 1 at the read where something began;
 * 0: it is not so. They stop at their top, so that nothing old ever looks young. */
struct rules_watch {
    uint32_t raw;
    uint32_t full_ms; /* full duty so far */
    uint32_t pledged; /* reads x R since the window of the no-rise rule began */
    struct rules_mould mould;
    uint16_t off;    /* age: its duty is 0 */
    uint16_t rested; /* age: the 60 s of the welded rule */
    uint16_t same;   /* age: its register is the same */
    uint16_t hard;   /* age: its duty is at least 800; then the window of the no-rise rule */
    int16_t before[RULES_SPAN];
    int16_t rest;
    int16_t climb;
    int16_t charged; /* at the announcement of the charge */
    uint8_t next;    /* where `before` goes on */
    uint8_t kept;    /* readings in `before` */
    uint8_t calm;    /* reads that the fall rule may look back, RULES_SPAN at most */
    uint8_t over;    /* good samples in a row at or above the trip point, 2 at most */
    bool climbs;     /* the window of the no-rise rule runs */
};

struct rules {
    struct rules_watch watch[SAFETY_HALVES];
    uint16_t apart;  /* age: the halves disagree */
    uint16_t fallen; /* age: the last fall */
    bool is_near;    /* both halves were within 40 K of setpoint since arming */
    bool window_was;
    uint8_t halves; /* 1 or 2 */
};

/* Counts a time down by one pass and stays at 0; returns whether it has just run out. */
bool safety_runs_out(uint16_t *left);

/* Returns the first-out: a latched cause stays, whatever follows. */
enum safety_cause safety_first(enum safety_cause latched, enum safety_cause found);

/* Counts a sample against the trip point; returns whether two in a row were at or above it. */
bool safety_count_over(uint8_t *over, bool good, int16_t tenths, int16_t trip);

/* Why a change of the trip point is refused; SAFETY_TRIP_TAKEN if it is not. */
enum safety_trip_answer {
    SAFETY_TRIP_TAKEN,
    SAFETY_TRIP_RANGE,
    SAFETY_TRIP_STATE,
    SAFETY_TRIP_HAND
};
enum safety_trip_answer safety_judge_trip(int16_t present, int32_t wanted, bool armed, bool hand);

#define SAFETY_SAID_MOST 6u

struct safety_said {
    int16_t tenths;
    enum safety_event code;
};

/* The whole core. Read it freely; write it only through the functions below. The order is that of
 * use: the controller reaches the first 64 bytes of a structure with the least code. */
struct safety {
    uint16_t seal; /* sum over all below, renewed by every function that writes */
    enum safety_state state;
    enum safety_cause latch;
    uint16_t inputs;               /* switches, SAFETY_IN_ bits */
    int16_t trip;                  /* trip point ... */
    int16_t trip_inverted;         /* ... and its complement: safety_trip compares */
    int16_t tenths[SAFETY_HALVES]; /* last good readings, 0 before the first */
    uint8_t halves;
    uint8_t heats;     /* half under commissioning heat plus 1, 0 none */
    bool contactor;    /* wanted in */
    bool cut;          /* outputs off now: for whoever drives them, who confirms it */
    bool session;      /* a session is alive */
    bool sensors_good; /* every half may be decided on */
    bool mould_known;  /* R and lag of every half are stored for the mould in use */
    bool selftest_failed;
    bool selftest_done; /* the tests of the start have ended */
    bool window;        /* a charge window is open */
    bool open_too_long; /* until the mould closes */
    bool fallen;        /* until the next charge or arming */
    uint8_t said_count;
    uint8_t silent;  /* passes since the last taken duty line, or the hello where there was none */
    uint8_t mirror;  /* steps left to the mirror contact, 0: it has settled */
    uint8_t lingers; /* passes that the contactor stays in after a disarming by silence */
    uint8_t testing; /* passes until the self-test must have ended */
    uint8_t heat_left;   /* passes until commissioning heat expires */
    uint16_t present;    /* passes until the end of the presence warning */
    uint16_t charge;     /* passes until the next charge may be announced, 0: now */
    uint16_t open;       /* passes until an open mould has been open too long */
    uint16_t press_left; /* passes that this press of ARM may still heat */
    /* Passes of commissioning heat until a half must have warmed by 2 K; 0: none in this press. */
    uint16_t rise_left[SAFETY_HALVES];
    int16_t rise_tenths[SAFETY_HALVES];
    struct safety_said said[SAFETY_SAID_MOST]; /* events since the last safety_take_said */
    struct rules rules;
};

/* What lasted, and how the switches stand. */
struct safety_kept {
    enum safety_cause latch;
    int16_t trip;
    struct rules_mould mould[SAFETY_HALVES];
};

void safety_start(struct safety *safety, uint8_t halves, const struct safety_kept *kept,
                  uint16_t inputs);

/* The tests of the start have ended; the state follows 1 s after the start. */
void safety_end_selftest(struct safety *safety, bool passed);

/* A self-test that runs all the time has failed: trips at once. */
void safety_fail_selftest(struct safety *safety);

/* Returns whether the core's memory is as its functions left it. */
bool safety_is_intact(const struct safety *safety);

/* Switches moved: takes them as they stand now, ARM and NEXT only as presence. */
void safety_set_inputs(struct safety *safety, uint16_t inputs);

/* One pass, each 50 ms: every timer. `sensors_good`: every half may be decided on now. */
void safety_pass(struct safety *safety, bool sensors_good);

/* One read, each 200 ms, after the pass of the same moment. */
void safety_read(struct safety *safety, const struct rules_half half[SAFETY_HALVES],
                 bool sensors_good);

/* A session begins or ends. The end takes heat and contactor away. */
void safety_open_session(struct safety *safety);
void safety_close_session(struct safety *safety);

/* A duty line may be taken (its numbers were checked): feeds the silence timers. False: heat is
 * asked for in another state than armed. */
bool safety_take_duty(struct safety *safety, bool heats);

/* ARM was pressed after the right answer. False: not ready any more. */
bool safety_arm(struct safety *safety);

/* Heat off, disarmed, with event `disarmed` if armed; ends commissioning heat. */
void safety_disarm(struct safety *safety);

/* The challenge has run out: event `refarm`. */
void safety_refuse_arm(struct safety *safety);

enum safety_charge_answer { SAFETY_CHARGE_TAKEN, SAFETY_CHARGE_STATE, SAFETY_CHARGE_RATE };
enum safety_charge_answer safety_charge(struct safety *safety);

/* Changes the trip point, or says why not; `hand`: ARM is held. */
enum safety_trip_answer safety_set_trip(struct safety *safety, int32_t wanted, bool hand);

/* The mould in use changed, or what is stored of it; `code` is `used` or `stored`. */
void safety_set_mould(struct safety *safety, const struct rules_mould mould[SAFETY_HALVES],
                      enum safety_event code);

enum safety_heat_answer {
    SAFETY_HEAT_TAKEN,
    SAFETY_HEAT_LIMIT,
    SAFETY_HEAT_STATE,
    SAFETY_HEAT_HAND
};
/* Commissioning heat for one half, or more of it. */
enum safety_heat_answer safety_heat(struct safety *safety, uint8_t half, uint16_t expiry_ms,
                                    bool hand);

/* ARM came up: ends commissioning heat; `asks_reset`: it was a press that resets a trip. `idle`:
 * both duties are 0. */
void safety_release_arm(struct safety *safety, bool asks_reset, bool idle);

/* Takes one event; false: there is none left. */
bool safety_take_said(struct safety *safety, struct safety_said *said);

/* Outputs were cut. */
void safety_confirm_cut(struct safety *safety);

/* Returns the trip point; the lowest one where its two copies differ. */
int16_t safety_trip(const struct safety *safety);

/* Returns the highest setpoint taken now. */
int16_t safety_setpoint_most(const struct safety *safety);

enum safety_why safety_reason(const struct safety *safety);
int16_t safety_hottest(const struct safety *safety);

/* Returns whether both duties are to be taken as 0. */
bool safety_holds(const struct safety *safety);

/* Returns whether the host has been silent for 3 s, or there is none. */
bool safety_is_silent(const struct safety *safety);

/* Returns whether any heater may be on at all: armed, or under commissioning heat. */
bool safety_permits(const struct safety *safety);

/* HOT lamp: hot, unknown, or being tested. */
bool safety_is_hot(const struct safety *safety);

/* The board's own alarm pattern: tripped, or presence runs out. */
bool safety_alarms(const struct safety *safety);

/* Seconds left, rounded up; 0 where none runs. */
uint8_t safety_window_left_s(const struct safety *safety);
uint16_t safety_presence_left_s(const struct safety *safety);

#endif
