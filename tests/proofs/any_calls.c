/* Every function of the safety core with anything that its types and PROTOCOL.md allow, in any order,
 * for as long as it likes: Frama-C's Eva then looks for run-time errors. */
#include "../../firmware/core.h"

extern int anything(int least, int most);
/*@ assigns \result \from least, most;
    ensures least <= \result <= most; */
extern int anything(int least, int most);

extern uint32_t any_register(void);
/*@ assigns \result \from \nothing; */
extern uint32_t any_register(void);

static bool any_answer(void)
{
    return anything(0, 1) == 1;
}

static void any_half(struct rules_half *half)
{
    half->raw = any_register();
    half->tenths = (int16_t)anything(-4000, 9999);
    half->duty = (uint16_t)anything(0, 1000);
    half->taken = (uint16_t)anything(0, 1000);
    half->setpoint = (uint16_t)anything(0, 2000);
    half->good = any_answer();
}

static void any_mould(struct rules_mould *mould)
{
    mould->rise = (uint16_t)anything(0, 5000);
    mould->lag = (uint16_t)anything(0, 3000);
    mould->up = (uint16_t)anything(0, 7200);
}

static void any_ask(struct safety *safety)
{
    struct rules_mould mould[SAFETY_HALVES];
    switch (anything(0, 10)) {
    case 0:
        safety_open_session(safety);
        break;
    case 1:
        safety_close_session(safety);
        break;
    case 2:
        (void)safety_take_duty(safety, any_answer());
        break;
    case 3:
        (void)safety_arm(safety);
        break;
    case 4:
        safety_disarm(safety);
        break;
    case 5:
        safety_refuse_arm(safety);
        break;
    case 6:
        (void)safety_charge(safety);
        break;
    case 7:
        (void)safety_set_trip(safety, anything(-32767, 32767), any_answer());
        break;
    case 8:
        any_mould(&mould[0]);
        any_mould(&mould[1]);
        safety_set_mould(safety, mould, any_answer() ? SAFETY_EVENT_USED : SAFETY_EVENT_STORED);
        break;
    case 9:
        (void)safety_heat(safety, (uint8_t)anything(0, 255), (uint16_t)anything(0, 1500),
                          any_answer());
        break;
    default:
        safety_release_arm(safety, any_answer(), any_answer());
        break;
    }
}

static void any_look(struct safety *safety)
{
    struct safety_said said;
    (void)safety_take_said(safety, &said);
    safety_confirm_cut(safety);
    (void)safety_setpoint_most(safety);
    (void)safety_holds(safety);
    (void)safety_is_silent(safety);
    (void)safety_permits(safety);
    (void)safety_is_hot(safety);
    (void)safety_alarms(safety);
    (void)safety_window_left_s(safety);
    (void)safety_presence_left_s(safety);
}

int main(void)
{
    static struct safety safety;
    struct safety_kept kept;
    struct rules_half half[SAFETY_HALVES] = {0};
    kept.latch = (enum safety_cause)anything(0, 255);
    kept.trip = (int16_t)anything(-32767, 32767);
    any_mould(&kept.mould[0]);
    any_mould(&kept.mould[1]);
    safety_start(&safety, (uint8_t)anything(0, 255), &kept, (uint16_t)anything(0, 511));
    /*@ loop widen_hints "all", 24, 25; */
    while (any_answer()) {
        switch (anything(0, 5)) {
        case 0:
            safety_pass(&safety, any_answer());
            break;
        case 1:
            any_half(&half[0]);
            any_half(&half[1]);
            safety_read(&safety, half, any_answer());
            break;
        case 2:
            safety_set_inputs(&safety, (uint16_t)anything(0, 511));
            break;
        case 3:
            safety_end_selftest(&safety, any_answer());
            break;
        case 4:
            safety_fail_selftest(&safety);
            break;
        default:
            any_ask(&safety);
            any_look(&safety);
            break;
        }
    }
    return 0;
}
