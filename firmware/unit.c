#include "unit.h"

/* Stages of a pass, each marked where it ends: the signature is right only if all of them have run,
 * once and in this order. Of those of a read a pass without one has neither. */
#define FLOW_START 0x35u
#define FLOW_READ 0x1Du
#define FLOW_SAFETY 0x4Bu
#define FLOW_JUDGE 0x72u
#define FLOW_SLICE 0xA6u
#define FLOW_PINS 0xC9u

/* A product with an odd number loses nothing, so that no stage hides another. */
static uint8_t flow_after(uint8_t flow, uint8_t stage)
{
    return (uint8_t)(flow * 5u + stage);
}

static void rules_of_slot(const struct memory *memory, struct rules_mould mould[SAFETY_HALVES])
{
    for (uint8_t half = 0; half < SAFETY_HALVES; half++) {
        mould[half].rise = memory->slot.half[half].rise;
        mould[half].lag = memory->slot.half[half].lag;
        mould[half].up = memory->slot.half[half].up;
    }
}

void unit_judge_by_slot(struct unit *unit, enum safety_event code)
{
    struct rules_mould mould[SAFETY_HALVES];
    rules_of_slot(&unit->memory, mould);
    safety_set_mould(&unit->safety, mould, code);
}

/* A limit thermostat has opened: the chain is dead behind it, though its supply is alive and the
 * button is out. Supply and chain do not die in the same millisecond, hence the delay. */
static uint16_t inputs_of(struct unit *unit, uint32_t now_ms)
{
    uint16_t inputs = unit->switches & (uint16_t)~SAFETY_IN_THERMOSTAT;
    bool dead = (unit->switches & SAFETY_IN_THERMOSTAT) != 0u &&
                (inputs & (SAFETY_IN_MAINS | SAFETY_IN_BUTTON)) == SAFETY_IN_MAINS;
    if (!dead) {
        unit->chain_dead = false;
        unit->chain_ms = now_ms;
    } else if ((uint32_t)(now_ms - unit->chain_ms) >= UNIT_CHAIN_MS) {
        unit->chain_dead = true;
    }
    if (unit->chain_dead) {
        inputs |= SAFETY_IN_THERMOSTAT;
    }
    if ((unit->build.fit & UNIT_FIT_SWITCH) == 0u) {
        inputs &= (uint16_t)~SAFETY_IN_OPEN;
    }
    if ((unit->build.fit & UNIT_FIT_NEXT) == 0u) {
        inputs &= (uint16_t)~SAFETY_IN_NEXT;
    }
    return inputs;
}

void unit_start(struct unit *unit, const struct unit_build *build, const struct unit_birth *birth,
                uint32_t now_ms)
{
    uint8_t *byte = (uint8_t *)unit;
    for (uint16_t at = 0; at < sizeof *unit; at++) {
        byte[at] = 0;
    }
    unit->now_ms = now_ms;
    unit->read_ms = now_ms;
    unit->build = *build;
    unit->peek = birth->peek;
    unit->cause = birth->cause;
    unit->boot_due = true;
    output_start(&unit->output, &build->output, now_ms);
    memory_start(&unit->memory, birth->peek);
    session_start(&unit->session, unit->memory.boots, birth->noise);
    buttons_filter_start(&unit->filter, birth->switches);
    buttons_arm_start(&unit->arm);
    buttons_next_start(&unit->next);
    signals_start(&unit->signals, now_ms);
    for (uint8_t half = 0; half < SAFETY_HALVES; half++) {
        sense_start(&unit->sense[half]);
    }
    wire_start(&unit->receiver, now_ms);
    unit->switches = birth->switches;
    unit->chain_ms = now_ms - UNIT_CHAIN_MS; /* as it stands at the start, it stands */
    struct safety_kept kept = {
        .latch = (enum safety_cause)unit->memory.latch,
        .trip = memory_trip(&unit->memory),
    };
    rules_of_slot(&unit->memory, kept.mould);
    safety_start(&unit->safety, build->zones, &kept, inputs_of(unit, now_ms));
    unit->event_sent = unit->memory.newest;
    unit_obey(unit, now_ms);
}

void unit_end_selftest(struct unit *unit, bool passed, uint32_t now_ms)
{
    safety_end_selftest(&unit->safety, passed);
    unit_obey(unit, now_ms);
}

void unit_obey(struct unit *unit, uint32_t now_ms)
{
    struct safety *safety = &unit->safety;
    struct safety_said said;
    if (safety->cut) {
        output_cut(&unit->output, now_ms);
        safety_confirm_cut(safety);
    }
    output_hold(&unit->output, now_ms, safety_holds(safety),
                (safety->inputs & SAFETY_IN_OPEN) != 0u);
    memory_set_latch(&unit->memory, (uint8_t)safety->latch);
    memory_set_trip(&unit->memory, safety_trip(safety));
    if (safety->contactor != unit->was_in) {
        unit->was_in = safety->contactor;
        if (unit->was_in) {
            memory_count_operation(&unit->memory);
        }
    }
    for (uint8_t at = 0; at < SAFETY_SAID_MOST && safety_take_said(safety, &said); at++) {
        (void)memory_log(&unit->memory, now_ms, (uint8_t)said.code, said.tenths);
    }
    if (safety->state != SAFETY_READY) {
        session_end_challenge(&unit->session);
    }
    if (!safety->session) {
        session_close(&unit->session);
        signals_hush(&unit->signals, now_ms);
    }
}

bool unit_hear(struct unit *unit, uint8_t byte, uint32_t now_ms)
{
    struct wire_line request;
    if (!wire_hear(&unit->receiver, byte, now_ms, &request)) {
        return false;
    }
    output_account(&unit->output, now_ms);
    unit_answer(unit, &request, now_ms);
    unit_obey(unit, now_ms);
    return true;
}

static void arm_moved(struct unit *unit, bool down, uint32_t now_ms)
{
    if (down) {
        buttons_arm_press(&unit->arm, now_ms, unit->safety.state == SAFETY_TRIPPED);
        if (unit->session.answered && unit->safety.state == SAFETY_READY) {
            session_end_challenge(&unit->session);
            (void)safety_arm(&unit->safety);
        }
    } else {
        bool asks_reset = buttons_arm_release(&unit->arm, now_ms);
        bool idle = unit->output.pulse[OUTPUT_UPPER].taken == 0u &&
                    unit->output.pulse[OUTPUT_LOWER].taken == 0u;
        safety_release_arm(&unit->safety, asks_reset, idle);
    }
}

bool unit_take_switches(struct unit *unit, uint16_t switches, uint32_t now_ms)
{
    uint16_t moved = buttons_filter_take(&unit->filter, switches);
    unit->switches = unit->filter.stable;
    uint16_t inputs = inputs_of(unit, now_ms);
    if (inputs == unit->safety.inputs) {
        return false;
    }
    output_account(&unit->output, now_ms);
    safety_set_inputs(&unit->safety, inputs);
    if ((moved & SAFETY_IN_ARM) != 0u) {
        arm_moved(unit, (inputs & SAFETY_IN_ARM) != 0u, now_ms);
    }
    if ((moved & SAFETY_IN_NEXT) != 0u) {
        if ((inputs & SAFETY_IN_NEXT) != 0u) {
            buttons_next_press(&unit->next, now_ms);
        } else {
            buttons_next_release(&unit->next, now_ms);
        }
    }
    unit_obey(unit, now_ms);
    return true;
}

static bool reads_in(uint8_t passes)
{
    return passes % (SAFETY_READ_MS / SAFETY_PASS_MS) == 0u;
}

bool unit_begin_pass(struct unit *unit)
{
    unit->flow = FLOW_START;
    return reads_in((uint8_t)(unit->passes + 1u));
}

uint8_t unit_identity_step(uint16_t adc)
{
    /* Resistors 1.1, 2.4, 4.3, 6.8, 10, 15, 24, 39 kOhm stand about 102 counts apart. */
    uint16_t step = (uint16_t)((adc + 51u) / 102u);
    uint16_t centre = (uint16_t)(step * 102u);
    uint16_t off = adc > centre ? (uint16_t)(adc - centre) : (uint16_t)(centre - adc);
    return step >= 1u && step <= 8u && off <= 40u ? (uint8_t)step : 0u;
}

/* Never 0, whatever has become of the memory: no half would be judged then. */
static uint8_t halves_of(const struct unit *unit)
{
    return unit->build.zones == 1u ? 1u : SAFETY_HALVES;
}

static bool sensors_are_good(const struct unit *unit, uint32_t now_ms)
{
    bool good = true;
    for (uint8_t half = 0; half < halves_of(unit); half++) {
        good = good && sense_is_good(&unit->sense[half], now_ms);
    }
    return good;
}

void unit_read(struct unit *unit, const uint32_t raw[SAFETY_HALVES], uint16_t identity,
               uint16_t force, uint32_t now_ms)
{
    for (uint8_t half = 0; half < halves_of(unit); half++) {
        (void)sense_take(&unit->sense[half], raw[half], now_ms);
    }
    uint8_t step = (unit->build.fit & UNIT_FIT_IDENTITY) != 0u ? unit_identity_step(identity) : 0u;
    if (step == unit->identity_seen) {
        unit->identity = step;
    }
    unit->identity_seen = step;
    unit->force = (unit->build.fit & UNIT_FIT_FORCE) != 0u ? force : 0u;
    unit->flow = flow_after(unit->flow, FLOW_READ);
}

/* Judges what unit_read took. */
static void judge(struct unit *unit, uint32_t now_ms)
{
    struct rules_half half[SAFETY_HALVES] = {0};
    for (uint8_t each = 0; each < halves_of(unit); each++) {
        half[each].raw = unit->sense[each].raw;
        half[each].tenths = unit->sense[each].tenths;
        half[each].good = unit->sense[each].shown_good;
        half[each].duty = unit->output.pulse[each].duty;
        half[each].taken = unit->output.pulse[each].taken;
        half[each].setpoint = unit->setpoint[each];
    }
    safety_read(&unit->safety, half, sensors_are_good(unit, now_ms));
    unit->flow = flow_after(unit->flow, FLOW_JUDGE);
}

void unit_pass(struct unit *unit, uint32_t now_ms)
{
    unit->now_ms = now_ms;
    unit->passes = (uint8_t)((unit->passes + 1u) % (UNIT_STAT_MS / SAFETY_PASS_MS));
    bool reads = reads_in(unit->passes);
    buttons_update(&unit->arm, &unit->next, now_ms);
    wire_idle(&unit->receiver, now_ms);
    output_account(&unit->output, now_ms);
    safety_pass(&unit->safety, sensors_are_good(unit, now_ms));
    unit->flow = flow_after(unit->flow, FLOW_SAFETY);
    if (session_expires(&unit->session, now_ms)) {
        safety_refuse_arm(&unit->safety);
    }
    if (safety_is_silent(&unit->safety)) {
        signals_hush(&unit->signals, now_ms);
    }
    if (reads) {
        judge(unit, now_ms);
    }
    unit_obey(unit, now_ms);
    signals_update(&unit->signals, safety_alarms(&unit->safety), now_ms);
    if (reads) {
        unit->read_ms = now_ms;
        unit->tele_due = true;
        for (uint8_t each = 0; each < SAFETY_HALVES; each++) {
            unit->delivered_ms[each] = unit->output.pulse[each].on_ms;
        }
    }
    if (unit->passes == 0u) {
        unit->stat_due = true;
    }
}

void unit_take_slice(struct unit *unit, bool passed, uint32_t now_ms)
{
    if (!passed) {
        safety_fail_selftest(&unit->safety);
        unit_obey(unit, now_ms);
    }
    unit->flow = flow_after(unit->flow, FLOW_SLICE);
}

void unit_note_pass(struct unit *unit, uint16_t took)
{
    if (took > unit->longest_pass) {
        unit->longest_pass = took;
    }
}

bool unit_flow_is_right(const struct unit *unit)
{
    uint8_t due = FLOW_START;
    if (reads_in(unit->passes)) {
        due = flow_after(flow_after(flow_after(due, FLOW_READ), FLOW_SAFETY), FLOW_JUDGE);
    } else {
        due = flow_after(due, FLOW_SAFETY);
    }
    return unit->flow == flow_after(flow_after(due, FLOW_SLICE), FLOW_PINS);
}

bool unit_wants_contactor(const struct unit *unit)
{
    return unit->safety.contactor && safety_is_intact(&unit->safety);
}

static uint8_t bit_if(bool on, uint8_t bit)
{
    return on ? bit : 0u;
}

/* A tripped board that nobody listens to tells its first-out by blinks of 256 ms. */
static bool call_lamp_is_on(const struct unit *unit, uint32_t now_ms)
{
    if (unit->safety.state == SAFETY_TRIPPED && !unit->safety.session) {
        uint8_t step = (uint8_t)((now_ms / 256u) % 32u);
        return (step & 1u) == 0u && step / 2u < (uint8_t)unit->safety.latch;
    }
    return signals_lamp_is_on(&unit->signals, now_ms);
}

uint8_t unit_pins(struct unit *unit, uint32_t now_ms)
{
    output_account(&unit->output, now_ms);
    bool permitted = safety_permits(&unit->safety) && unit->safety.contactor;
    bool upper = permitted && output_is_on(&unit->output, OUTPUT_UPPER);
    bool lower = permitted && output_is_on(&unit->output, OUTPUT_LOWER);
    unit->flow = flow_after(unit->flow, FLOW_PINS);
    return (uint8_t)(bit_if(upper, UNIT_PIN_HEATER_UPPER) | bit_if(lower, UNIT_PIN_HEATER_LOWER) |
                     bit_if(safety_is_hot(&unit->safety), UNIT_PIN_HOT_LAMP) |
                     bit_if(call_lamp_is_on(unit, now_ms), UNIT_PIN_CALL_LAMP) |
                     bit_if(signals_buzzer_is_on(&unit->signals, now_ms), UNIT_PIN_BUZZER));
}
