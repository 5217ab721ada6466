/* Ports: what the image drives, what the world holds. See shim.h. Numbers come from the pin table.
 */
#include "parts.h"

#include <simavr/avr_extint.h>

#define SBI 0x9a00u /* opcode of SBI; bits 3 to 7 name the register, 0 to 2 the bit */
#define SBI_MASK 0xff00u

#define MASK(port, name) (PIN_##name##_LETTER == (port) ? PIN_##name##_MASK : 0u)

/* Pins that a resistor outside keeps high while nothing drives them; all others it keeps low. */
static const uint8_t PULLED_UP[PORTS] = {
    MASK('B', SELECT_LOWER) | MASK('B', SELECT_UPPER),
    0,
    MASK('D', TRANSMIT),
};

static void move(struct shim *shim, uint8_t number, bool is_high)
{
    struct pin *pin = &shim->pin[number];
    uint64_t now = shim->avr->cycle;
    if (is_high == pin->is_high) {
        return;
    }
    if (pin->is_high) {
        pin->on += now - pin->edge;
    }
    uint64_t before = pin->edge;
    pin->is_high = is_high;
    pin->edge = now;
    pin->history[pin->edges++ % SHIM_HISTORY] = now;
    if (number == PIN_OF(SELECT_UPPER)) {
        bus_select(shim, 0, !is_high);
    } else if (number == PIN_OF(SELECT_LOWER)) {
        bus_select(shim, 1, !is_high);
    } else if (number == PIN_OF(CONTACTOR_TRAIN) && is_high) {
        enable_pump(shim, before);
    }
}

static void drive(struct shim *shim, uint8_t index, uint8_t value, uint8_t direction)
{
    struct port *port = &shim->port[index];
    uint8_t before = (port->value & port->direction) | (PULLED_UP[index] & ~port->direction);
    uint8_t after = (value & direction) | (PULLED_UP[index] & ~direction);
    port->value = value;
    port->direction = direction;
    for (uint8_t moved = before ^ after, bit = 0; moved; moved >>= 1, bit++) {
        if (moved & 1u) {
            move(shim, 8u * index + bit, after >> bit & 1u);
        }
    }
}

static void see_value(avr_irq_t *irq, uint32_t value, void *param)
{
    struct shim *shim = param;
    (void)irq;
    for (uint8_t index = 0; index < PORTS; index++) {
        if (irq == shim->port[index].io->io.irq + IOPORT_IRQ_REG_PORT) {
            drive(shim, index, (uint8_t)value, shim->port[index].direction);
        }
    }
}

static void see_direction(avr_irq_t *irq, uint32_t value, void *param)
{
    struct shim *shim = param;
    (void)irq;
    for (uint8_t index = 0; index < PORTS; index++) {
        if (irq == shim->port[index].io->io.irq + IOPORT_IRQ_DIRECTION_ALL) {
            drive(shim, index, shim->port[index].value, (uint8_t)value);
        }
    }
}

/* SBI on an input register toggles that one bit; the simulator would toggle all that read high. */
static void toggle(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct port *port = param;
    uint16_t opcode = (uint16_t)(avr->flash[avr->pc] | avr->flash[avr->pc + 1u] << 8);
    if ((opcode & SBI_MASK) == SBI) {
        value = (uint8_t)(1u << (opcode & 7u));
    }
    port->pin_write(avr, address, value, port->pin_param);
}

/* Lets the image see the levels that the world holds. */
static void show(struct shim *shim, uint8_t index)
{
    struct port *port = &shim->port[index];
    avr_ioport_external_t external = {
        .name = (unsigned char)port->io->name, .mask = port->held, .value = port->outside};
    avr_ioctl(shim->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port->io->name), &external);
    for (uint8_t bit = 0; bit < 8u; bit++) {
        if (port->held >> bit & 1u) {
            avr_raise_irq(port->io->io.irq + bit, port->outside >> bit & 1u);
        }
    }
    uint8_t *read = &shim->avr->data[port->io->r_pin];
    *read = (uint8_t)((*read & ~port->held) | port->outside);
}

static void hold(struct shim *shim, uint8_t number, bool is_high)
{
    struct port *port = &shim->port[number / 8u];
    uint8_t mask = (uint8_t)(1u << number % 8u);
    port->held |= mask;
    port->outside = (uint8_t)(is_high ? port->outside | mask : port->outside & ~mask);
}

enum {
    OPEN = 0x01,
    NEXT = 0x02,
    ARM = 0x04,
    BUTTON = 0x08,
    THERMOSTAT = 0x10,
    MAINS = 0x20,
    IN = 0x40
};

/* Contacts close to ground. The second contacts of button and mirror are closed at rest, so that a
 * broken wire reads as pressed or in. The chain is sensed behind the limit thermostats: without
 * mains it is dead there too. */
void shim_set_switches(struct shim *shim, uint16_t inputs)
{
    bool chain = inputs & MAINS && !(inputs & THERMOSTAT);
    shim->switches = inputs;
    hold(shim, PIN_OF(MOULD_SWITCH), inputs & OPEN);
    hold(shim, PIN_OF(NEXT), !(inputs & NEXT));
    hold(shim, PIN_OF(ARM), !(inputs & ARM));
    hold(shim, PIN_OF(BUTTON), inputs & BUTTON);
    hold(shim, PIN_OF(MAINS), !(inputs & MAINS));
    hold(shim, PIN_OF(CHAIN), !chain);
    hold(shim, PIN_OF(MIRROR), inputs & IN);
    for (uint8_t index = 0; index < PORTS; index++) {
        show(shim, index);
    }
}

void shim_set_analogue(struct shim *shim, uint8_t channel, uint32_t millivolts)
{
    avr_raise_irq(shim->analogue + channel % 8u, millivolts);
}

void pins_join(struct shim *shim)
{
    for (uint8_t index = 0; index < PORTS; index++) {
        struct port *port = &shim->port[index];
        avr_irq_t *irq = port->io->io.irq;
        avr_irq_register_notify(irq + IOPORT_IRQ_REG_PORT, see_value, shim);
        avr_irq_register_notify(irq + IOPORT_IRQ_DIRECTION_ALL, see_direction, shim);
        avr_io_addr_t io = AVR_DATA_TO_IO(port->io->r_pin);
        port->pin_write = shim->avr->io[io].w.c;
        port->pin_param = shim->avr->io[io].w.param;
        shim->avr->io[io].w.c = toggle;
        shim->avr->io[io].w.param = port;
        for (uint8_t bit = 0; bit < 8u; bit++) {
            shim->pin[8u * index + bit].is_high = PULLED_UP[index] >> bit & 1u;
        }
    }
    shim_set_switches(shim, MAINS);
    pins_resume(shim);
}

/* The simulator clears its registers without a word: every pin then floats. */
void pins_reset(struct shim *shim)
{
    for (uint8_t index = 0; index < PORTS; index++) {
        avr_irq_t *irq = shim->port[index].io->io.irq;
        avr_raise_irq(irq + IOPORT_IRQ_REG_PORT, 0);
        avr_raise_irq(irq + IOPORT_IRQ_DIRECTION_ALL, 0);
        show(shim, index);
    }
}

/* An external interrupt on low level costs the simulator a look in every cycle, used or not. */
void pins_resume(struct shim *shim)
{
    avr_extint_set_strict_lvl_trig(shim->avr, EXTINT_IRQ_OUT_INT0, 0);
    avr_extint_set_strict_lvl_trig(shim->avr, EXTINT_IRQ_OUT_INT1, 0);
}

bool shim_level(const struct shim *shim, uint8_t pin)
{
    return shim->pin[pin % PINS].is_high;
}

uint64_t shim_on_cycles(const struct shim *shim, uint8_t number)
{
    const struct pin *pin = &shim->pin[number % PINS];
    return pin->on + (pin->is_high ? shim->avr->cycle - pin->edge : 0);
}

uint64_t shim_edge(const struct shim *shim, uint8_t pin)
{
    return shim->pin[pin % PINS].edge;
}

uint32_t shim_edges(const struct shim *shim, uint8_t pin)
{
    return shim->pin[pin % PINS].edges;
}

uint32_t shim_history(const struct shim *shim, uint8_t number, uint64_t *cycles, uint32_t most)
{
    const struct pin *pin = &shim->pin[number % PINS];
    uint32_t count = pin->edges < SHIM_HISTORY ? pin->edges : SHIM_HISTORY;
    count = count < most ? count : most;
    for (uint32_t i = 0; i < count; i++) {
        cycles[i] = pin->history[(pin->edges - 1u - i) % SHIM_HISTORY];
    }
    return count;
}
