/* The serial bus at its real pace, and the two converters on it. See shim.h.
 *
 * A converter, by its data sheet: a low select holds what the last conversion found and begins a
 * read; a high one begins a conversion, and another whenever one has ended. A conversion takes up
 * to 100 ms, and one that a select cuts short is lost. 32 bits come most significant bit first,
 * mode 0, at most 5 MHz. */
#include "parts.h"

#define FRAME_BYTES 4u
#define BUS_HZ_MOST 5000000u
#define CONVERSION_MS 100u

#define SPIF 0x80u
#define WCOL 0x40u
#define SPI2X 0x01u
#define SPE 0x40u
#define DORD 0x20u
#define MSTR 0x10u
#define CPOL_CPHA 0x0cu
#define RATE_BITS 0x03u

static uint32_t divider(const struct shim *shim)
{
    static const uint8_t dividers[8] = {4, 16, 64, 128, 2, 8, 32, 64};
    const uint8_t *data = shim->avr->data;
    return dividers[(data[REG_SPCR] & RATE_BITS) | (data[REG_SPSR] & SPI2X) << 2];
}

/* Takes over what conversions have found since the converter was left alone. */
static void convert(struct shim *shim, struct converter *converter)
{
    uint64_t now = shim->avr->cycle;
    if (converter->is_selected || now < converter->since + shim->bus.conversion) {
        return;
    }
    uint64_t ended = now - (now - converter->since) % shim->bus.conversion;
    if (ended >= converter->set) {
        converter->latched = converter->measured;
    }
    converter->is_fresh = true;
}

void shim_set_register(struct shim *shim, uint8_t half, uint32_t value)
{
    struct converter *converter = &shim->bus.converter[half & 1u];
    if (value == converter->measured) {
        return;
    }
    convert(shim, converter);
    converter->measured = value;
    converter->set = shim->avr->cycle;
}

void shim_set_conversion(struct shim *shim, uint32_t cycles)
{
    shim->bus.conversion = cycles ? cycles : 1u;
}

uint32_t shim_reads(const struct shim *shim, uint8_t half)
{
    return shim->bus.converter[half & 1u].reads;
}

uint32_t shim_early_reads(const struct shim *shim, uint8_t half)
{
    return shim->bus.converter[half & 1u].early;
}

void bus_select(struct shim *shim, uint8_t half, bool is_low)
{
    struct converter *converter = &shim->bus.converter[half];
    if (is_low == converter->is_selected) {
        return;
    }
    if (!is_low) {
        converter->is_selected = false;
        converter->since = shim->avr->cycle;
        converter->is_fresh = false;
        return;
    }
    convert(shim, converter);
    converter->is_selected = true;
    converter->frame = converter->latched;
    converter->sent = 0;
}

/* Returns the byte that the converters put on the wire. */
static uint8_t shift_out(struct shim *shim)
{
    struct bus *bus = &shim->bus;
    uint8_t mode = shim->avr->data[REG_SPCR] & (DORD | CPOL_CPHA), byte = 0xff;
    uint8_t selected = 0;
    for (uint8_t half = 0; half < 2u; half++) {
        struct converter *converter = &bus->converter[half];
        if (!converter->is_selected) {
            continue;
        }
        selected++;
        if (converter->sent == 0) {
            converter->reads++;
            converter->early += !converter->is_fresh;
        }
        if (converter->sent < FRAME_BYTES) {
            byte &= (uint8_t)(converter->frame >> (8u * (FRAME_BYTES - 1u - converter->sent++)));
        } else {
            byte = 0;
        }
    }
    if (selected == 2u) {
        shim->misused[SHIM_MISUSE_SELECT]++;
    }
    if (mode || SHIM_HZ / divider(shim) > BUS_HZ_MOST) {
        shim->misused[SHIM_MISUSE_BUS]++;
        return (uint8_t)~byte;
    }
    return selected ? byte : 0; /* the line's pull-down */
}

static avr_cycle_count_t end_transfer(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct shim *shim = param;
    (void)when;
    shim->bus.is_busy = false;
    avr->data[REG_SPSR] |= SPIF;
    avr_raise_interrupt(avr, &shim->bus.spi->spi);
    return 0;
}

static void write_data(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct shim *shim = param;
    (void)address;
    (void)value;
    if ((avr->data[REG_SPCR] & (SPE | MSTR)) != (SPE | MSTR)) {
        return;
    }
    if (shim->bus.is_busy) {
        shim->misused[SHIM_MISUSE_BUS]++;
        avr->data[REG_SPSR] |= WCOL;
        return;
    }
    avr->data[REG_SPSR] &= (uint8_t)~(SPIF | WCOL);
    shim->bus.is_busy = true;
    shim->bus.in = shift_out(shim);
    shim_call_at(shim, avr->cycle + 8u * divider(shim), end_transfer);
}

static uint8_t read_data(avr_t *avr, avr_io_addr_t address, void *param)
{
    struct shim *shim = param;
    avr->data[REG_SPSR] &= (uint8_t)~(SPIF | WCOL);
    avr->data[address] = shim->bus.in;
    return shim->bus.in;
}

static void write_status(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = (uint8_t)((avr->data[address] & ~SPI2X) | (value & SPI2X));
}

void bus_join(struct shim *shim)
{
    shim->bus.conversion = CONVERSION_MS * (SHIM_HZ / 1000u);
    shim_hook_write(shim, REG_SPDR, write_data);
    shim_hook_read(shim, REG_SPDR, read_data);
    shim_hook_write(shim, REG_SPSR, write_status);
}

void bus_reset(struct shim *shim)
{
    shim->bus.is_busy = false;
}
