/* The serial line to the byte: the simulator's own character lasts 11 bits, appears when it is
 * written, and its receiver never overruns. See shim.h. */
#include "parts.h"

#define RATE 38400u
#define BITS 10u
#define FRAME_8N1 0x06u
#define OFF_PER_MILLE 25u /* so far rates may differ before bytes break */

#define RXC 0x80u
#define TXC 0x40u
#define UDRE 0x20u
#define DOR 0x08u
#define U2X 0x02u
#define RXEN 0x10u
#define TXEN 0x08u
#define UDRIE 0x20u
#define RXCIE 0x80u
#define UCSRA_WRITTEN 0x03u

static uint8_t *reg(struct shim *shim, uint16_t address)
{
    return &shim->avr->data[address];
}

/* Cycles that a character takes at the rate which the image has set. */
static uint32_t set_cycles(struct shim *shim)
{
    uint32_t divider = *reg(shim, REG_UBRRL) + ((*reg(shim, REG_UBRRH) & 15u) << 8) + 1u;
    return BITS * divider * (*reg(shim, REG_UCSRA) & U2X ? 8u : 16u);
}

static uint32_t sent_cycles(struct shim *shim)
{
    return shim->line.byte_cycles ? shim->line.byte_cycles : set_cycles(shim);
}

/* Cycles between two bytes of the host, which keeps its own rate. */
static uint32_t heard_cycles(struct shim *shim)
{
    return shim->line.byte_cycles ? shim->line.byte_cycles : BITS * SHIM_HZ / RATE;
}

/* Returns what becomes of a byte where both ends do not mean the same line. */
static uint8_t carry(struct shim *shim, uint8_t byte)
{
    uint32_t real = BITS * SHIM_HZ / RATE, set = set_cycles(shim);
    uint32_t off = set > real ? set - real : real - set;
    if (off > real / 1000u * OFF_PER_MILLE || *reg(shim, REG_UCSRC) != FRAME_8N1) {
        shim->misused[SHIM_MISUSE_LINE]++;
        return (uint8_t)(byte << 1 | 1u);
    }
    return byte;
}

static void raise_received(struct shim *shim)
{
    *reg(shim, REG_UCSRA) |= RXC;
    avr_raise_interrupt(shim->avr, &shim->line.uart->rxc);
}

static void raise_empty(struct shim *shim)
{
    *reg(shim, REG_UCSRA) |= UDRE;
    if (*reg(shim, REG_UCSRB) & UDRIE) {
        avr_raise_interrupt(shim->avr, &shim->line.uart->udrc);
    }
}

static void receive(struct shim *shim, uint8_t byte)
{
    struct line *line = &shim->line;
    if (!(*reg(shim, REG_UCSRB) & RXEN)) {
        return;
    }
    if (line->received_count == RECEIVER_BYTES) {
        line->overruns++;
        *reg(shim, REG_UCSRA) |= DOR;
        return;
    }
    line->received[line->received_count++] = carry(shim, byte);
    raise_received(shim);
}

static avr_cycle_count_t arrive(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct shim *shim = param;
    struct line *line = &shim->line;
    if (line->heard_in == line->heard_out) {
        return 0;
    }
    bool waits = line->byte_cycles && (line->received_count || avr->state != cpu_Sleeping);
    if (!waits) {
        receive(shim, line->heard[line->heard_out++ % HEARD_BYTES]);
    }
    line->due = when + heard_cycles(shim);
    return line->heard_in == line->heard_out ? 0 : line->due;
}

static void shift(struct shim *shim, uint8_t byte);

static avr_cycle_count_t leave(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct shim *shim = param;
    struct line *line = &shim->line;
    (void)when;
    if (!line->is_shifting) {
        return 0;
    }
    line->said[line->said_in++ % SAID_BYTES] = carry(shim, line->shifting);
    if (line->said_in - line->said_out > SAID_BYTES) {
        line->said_out = line->said_in - SAID_BYTES; /* nobody listens: the oldest goes */
    }
    line->is_shifting = false;
    if (line->is_holding) {
        line->is_holding = false;
        shift(shim, line->holding);
        raise_empty(shim);
        return 0;
    }
    *reg(shim, REG_UCSRA) |= TXC;
    avr_raise_interrupt(avr, &line->uart->txc);
    return 0;
}

static void shift(struct shim *shim, uint8_t byte)
{
    struct line *line = &shim->line;
    line->shifting = byte;
    line->is_shifting = true;
    shim_call_at(shim, shim->avr->cycle + sent_cycles(shim), leave);
}

static void write_data(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct shim *shim = param;
    struct line *line = &shim->line;
    (void)avr;
    (void)address;
    if (!(*reg(shim, REG_UCSRB) & TXEN)) {
        return;
    }
    if (!line->is_shifting) {
        shift(shim, value);
        raise_empty(shim);
        return;
    }
    if (line->is_holding) {
        shim->misused[SHIM_MISUSE_LINE]++;
        return;
    }
    line->holding = value;
    line->is_holding = true;
    *reg(shim, REG_UCSRA) &= (uint8_t)~UDRE;
}

static uint8_t read_data(avr_t *avr, avr_io_addr_t address, void *param)
{
    struct shim *shim = param;
    struct line *line = &shim->line;
    uint8_t byte = 0;
    if (line->received_count) {
        byte = line->received[0];
        line->received_count--;
        for (uint8_t i = 0; i < line->received_count; i++) {
            line->received[i] = line->received[i + 1u];
        }
    }
    *reg(shim, REG_UCSRA) &= (uint8_t)~(RXC | DOR);
    avr_clear_interrupt(avr, &line->uart->rxc);
    if (line->received_count) {
        raise_received(shim);
    }
    avr->data[address] = byte;
    return byte;
}

static uint8_t read_plain(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)param;
    return avr->data[address];
}

static void write_status(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    uint8_t kept = avr->data[address] & (uint8_t)~UCSRA_WRITTEN;
    (void)param;
    if (value & TXC) {
        kept &= (uint8_t)~TXC;
    }
    avr->data[address] = kept | (value & UCSRA_WRITTEN);
}

static void write_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct shim *shim = param;
    struct line *line = &shim->line;
    uint8_t before = avr->data[address];
    avr->data[address] = value;
    if (!(value & RXEN)) {
        line->received_count = 0;
        *reg(shim, REG_UCSRA) &= (uint8_t)~(RXC | DOR);
    }
    if (value & ~before & UDRIE && *reg(shim, REG_UCSRA) & UDRE) {
        raise_empty(shim);
    }
    if (value & ~before & RXCIE && line->received_count) {
        raise_received(shim);
    }
}

static void write_plain(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
}

void line_join(struct shim *shim)
{
    shim_hook_write(shim, REG_UDR, write_data);
    shim_hook_read(shim, REG_UDR, read_data);
    shim_hook_write(shim, REG_UCSRA, write_status);
    shim_hook_read(shim, REG_UCSRA, read_plain);
    shim_hook_write(shim, REG_UCSRB, write_control);
    shim_hook_write(shim, REG_UCSRC, write_plain);
    shim_hook_write(shim, REG_UBRRL, write_plain);
}

void line_reset(struct shim *shim)
{
    struct line *line = &shim->line;
    line->is_shifting = line->is_holding = false;
    line->received_count = 0;
}

void line_resume(struct shim *shim)
{
    *reg(shim, REG_UCSRA) = UDRE;
    *reg(shim, REG_UCSRB) = 0;
    *reg(shim, REG_UCSRC) = FRAME_8N1;
    if (shim->line.heard_in != shim->line.heard_out) {
        shim_call_at(shim, shim->line.due, arrive);
    }
}

void shim_set_line(struct shim *shim, uint32_t cycles)
{
    shim->line.byte_cycles = cycles;
}

uint32_t shim_hear(struct shim *shim, const uint8_t *bytes, uint32_t count)
{
    struct line *line = &shim->line;
    bool rested = line->heard_in == line->heard_out;
    uint32_t taken = 0;
    while (taken < count && line->heard_in - line->heard_out < HEARD_BYTES) {
        line->heard[line->heard_in++ % HEARD_BYTES] = bytes[taken++];
    }
    if (rested && taken) {
        uint64_t whole = shim->avr->cycle + heard_cycles(shim);
        line->due = line->due > whole ? line->due : whole;
        shim_call_at(shim, line->due, arrive);
    }
    return taken;
}

uint32_t shim_said(struct shim *shim, uint8_t *bytes, uint32_t most)
{
    struct line *line = &shim->line;
    uint32_t count = 0;
    while (count < most && line->said_out != line->said_in) {
        bytes[count++] = line->said[line->said_out++ % SAID_BYTES];
    }
    return count;
}

uint32_t shim_unheard(const struct shim *shim)
{
    return shim->line.heard_in - shim->line.heard_out + shim->line.received_count;
}

bool shim_talks(const struct shim *shim)
{
    return shim->line.is_shifting;
}

uint32_t shim_overruns(const struct shim *shim)
{
    return shim->line.overruns;
}
