/* The contactor's enable circuit as it behaves: a leaking charge that only edges renew. See shim.h.
 *
 * Its figures follow the circuit of hardware/enable.cir at nominal values: each pulse moves 50 nF of
 * 1 uF, which leaks through 13.5 kohm; at 1 kHz the store stands at 1.5 V over a reference of 0.95 V;
 * a low of less than 70 us (7 kHz and faster) does not get past the filter of 100 us. */
#include "parts.h"

#include <math.h>

#define GAIN 0.05
#define DECAY_S 0.0135
#define PULL 0.27
#define DROP 0.25
#define LOW_LEAST_CYCLES (70u * (SHIM_HZ / 1000000u))

static void set(struct enable *enable, bool is_on, uint64_t cycle)
{
    enable->is_on = is_on;
    enable->changed = cycle;
}

/* Returns when the charge falls to where the circuit lets go. */
static uint64_t drops_at(const struct enable *enable)
{
    return enable->at + (uint64_t)(enable->decay * log(enable->charge / enable->drop));
}

void enable_pump(struct shim *shim, uint64_t fell)
{
    struct enable *enable = &shim->enable;
    uint64_t now = shim->avr->cycle;
    if (now - fell < LOW_LEAST_CYCLES) {
        return;
    }
    if (enable->is_on && drops_at(enable) <= now) {
        set(enable, false, drops_at(enable));
    }
    enable->charge *= exp(-(double)(now - enable->at) / enable->decay);
    enable->charge += (1.0 - enable->charge) * enable->gain;
    enable->at = now;
    if (!enable->is_on && enable->charge >= enable->pull) {
        set(enable, true, now);
    }
}

void shim_set_enable(struct shim *shim, double gain, double decay_cycles, double pull, double drop)
{
    shim->enable = (struct enable){.gain = gain, .decay = decay_cycles, .pull = pull, .drop = drop};
    shim->enable.at = shim->enable.changed = shim->avr->cycle;
}

bool shim_enabled(const struct shim *shim)
{
    return shim->enable.is_on && drops_at(&shim->enable) > shim->avr->cycle;
}

uint64_t shim_enable_changed(const struct shim *shim)
{
    const struct enable *enable = &shim->enable;
    if (enable->is_on && drops_at(enable) <= shim->avr->cycle) {
        return drops_at(enable);
    }
    return enable->changed;
}

void enable_join(struct shim *shim)
{
    shim_set_enable(shim, GAIN, DECAY_S * SHIM_HZ, PULL, DROP);
}
