/* The contactor's enable circuit as it behaves: a leaking charge that only edges renew. See shim.h.
 *
 * Its figures are those of a pump that holds on 1 kHz with room to spare and lets go well within
 * 100 ms; the circuit with its real parts is simulated elsewhere. */
#include "parts.h"

#include <math.h>

#define GAIN 0.10
#define DECAY_S 0.030
#define PULL 0.60
#define DROP 0.30

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

void enable_pump(struct shim *shim)
{
    struct enable *enable = &shim->enable;
    uint64_t now = shim->avr->cycle;
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
