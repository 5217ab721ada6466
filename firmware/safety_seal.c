#include "core.h"

/* The seal: two running sums over everything behind it, so that order counts too. */
/*@ requires \valid_read(safety); assigns \nothing; */
static uint16_t sum_of(const struct safety *safety)
{
    const uint8_t *byte = (const uint8_t *)safety;
    uint8_t low = 0x5Au;
    uint8_t high = 0xA5u;
    /*@ loop assigns at, low, high; */
    for (uint16_t at = sizeof safety->seal; at < sizeof *safety; at++) {
        low = (uint8_t)(low + byte[at]);
        high = (uint8_t)(high + low);
    }
    return (uint16_t)((uint16_t)((uint16_t)high << 8) | low);
}

/* What turns over while the core works is sealed in with it: without a half nothing is judged. */
/*@ requires \valid_read(safety); assigns \nothing; */
bool safety_is_intact(const struct safety *safety)
{
    return safety->seal == sum_of(safety) && safety->rules.halves == safety->halves &&
           (safety->halves == 1u || safety->halves == SAFETY_HALVES);
}

/*@ requires \valid(safety);
    assigns safety->seal; */
void core_close(struct safety *safety)
{
    safety->seal = sum_of(safety);
}

/* Memory that changed by itself is worth nothing: everything off, whatever it says. */
/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety) && safety->trip == \old(safety->trip);
    ensures 1 <= safety->halves <= SAFETY_HALVES;
    ensures safety->state == SAFETY_TRIPPED && safety->latch != SAFETY_NONE;
    ensures safety->cut && safety->heats == 0 && !safety->contactor; */
static void give_up(struct safety *safety)
{
    safety->halves = safety->halves == 1u ? 1u : SAFETY_HALVES;
    safety->said_count = 0;
    if (safety->latch >= SAFETY_CAUSES) {
        safety->latch = SAFETY_NONE;
    }
    safety->session = false;
    safety->selftest_failed = true;
    rules_start(&safety->rules, safety->halves);
    core_trip(safety, SAFETY_SELFTEST_FAILED, 0);
}

/*@ requires \valid(safety);
    assigns *safety;
    ensures kept{Pre, Post}(safety) && safety->trip == \old(safety->trip);
    ensures safety->state == SAFETY_ARMED ==> \old(safety->state) == SAFETY_ARMED;
    ensures safety->heats != 0 ==> safety->heats == \old(safety->heats);
    ensures safety->halves == \old(safety->halves) || 1 <= safety->halves <= SAFETY_HALVES; */
void core_open(struct safety *safety)
{
    if (!safety_is_intact(safety)) {
        give_up(safety);
    }
}
