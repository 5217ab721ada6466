#include "calls.h"

#include <stdbool.h>

#include "core.h"
#include "output.h"
#include "sense.h"

volatile uint8_t calls_wait;
uint8_t calls_what[CALLS_MOST];
uint32_t calls_a[CALLS_MOST];
uint16_t calls_b[CALLS_MOST];
uint16_t calls_c[CALLS_MOST];
uint16_t calls_d[CALLS_MOST];
uint32_t calls_x[CALLS_MOST];
uint32_t calls_y[CALLS_MOST];

static uint32_t now;
static struct output output;
static struct rules rules;

void calls_start(uint32_t now_ms)
{
    const struct output_build build = {.window_ms = 1000, .least_ms = 0, .cap = 2000};
    now = now_ms;
    output_start(&output, &build, now);
    rules_start(&rules, SAFETY_HALVES);
}

static void report_output(uint8_t at)
{
    const struct output_pulse *pulse = output.pulse;
    calls_x[at] = (uint32_t)pulse[0].on_ms << 16 | pulse[1].on_ms;
    calls_y[at] = (uint32_t)pulse[0].duty << 16 | pulse[1].duty;
    calls_y[at] ^= (uint32_t)output_rest_ms(&output) << 8;
    calls_y[at] ^= (output_is_on(&output, 0) ? 1u : 0u) | (output_is_on(&output, 1) ? 2u : 0u);
}

static void judge(uint8_t at)
{
    uint16_t switches = calls_d[at] >> 11;
    struct rules_half half[SAFETY_HALVES] = {0};
    for (uint8_t each = 0; each < SAFETY_HALVES; each++) {
        half[each].raw = calls_a[at] + each;
        half[each].tenths = (int16_t)calls_b[at];
        half[each].duty = half[each].taken = calls_c[at];
        half[each].setpoint = calls_d[at] & 0x7FFu;
        half[each].good = true;
    }
    half[1].tenths = (int16_t)(half[1].tenths / 2);
    const struct rules_around around = {
        .trip = 2150,
        .armed = (switches & 1u) == 0u,
        .closed = (switches & 2u) == 0u,
        .contactor = (switches & 4u) == 0u,
        .window = (switches & 24u) == 24u,
    };
    struct rules_verdict verdict = rules_judge(&rules, half, &around);
    calls_x[at] = (uint32_t)verdict.trip << 8 | verdict.half;
    calls_y[at] = (verdict.fall ? 1u : 0u) | (verdict.full ? 2u : 0u);
}

static void make(uint8_t at)
{
    int16_t tenths = 0;
    int16_t cold = 0;
    switch (calls_what[at]) {
    case CALLS_SENSE:
        calls_y[at] = sense_correct(calls_a[at], &tenths, &cold) ? 1u : 0u;
        calls_x[at] = (uint32_t)(uint16_t)tenths << 16 | (uint16_t)cold;
        break;
    case CALLS_TRIP:
        calls_x[at] = (uint32_t)safety_judge_trip((int16_t)calls_b[at], (int32_t)calls_a[at],
                                                  calls_c[at] & 1u, calls_c[at] & 2u);
        break;
    case CALLS_BUILD: {
        const struct output_build build = {
            .window_ms = (uint16_t)calls_a[at], .least_ms = calls_b[at], .cap = calls_c[at]};
        output_start(&output, &build, now);
        break;
    }
    case CALLS_TAKE:
        now += calls_b[at];
        output_take(&output, now, calls_c[at], calls_d[at], now + calls_a[at]);
        report_output(at);
        break;
    case CALLS_ACCOUNT:
        now += calls_b[at];
        output_account(&output, now);
        report_output(at);
        break;
    case CALLS_MOULD: {
        struct rules_mould mould = {
            .rise = calls_b[at], .lag = calls_c[at], .up = (uint16_t)calls_a[at]};
        const struct rules_mould both[SAFETY_HALVES] = {mould, mould};
        rules_arm(&rules);
        rules_set_mould(&rules, both);
        break;
    }
    default:
        judge(at);
        break;
    }
}

void calls_make(void)
{
    for (uint8_t at = 0; at < CALLS_MOST; at++) {
        calls_x[at] = calls_y[at] = 0;
        make(at);
    }
}

#ifdef __AVR__
int main(void);
int main(void)
{
    calls_start(0xFFFF0000u);
    for (;;) {
        while (calls_wait == 0u) {
        }
        calls_make();
        calls_wait = 0;
    }
}
#endif
