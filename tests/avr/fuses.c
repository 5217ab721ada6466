/* Fuse and lock bytes, which the simulator does not show to the image. See shim.h.
 *
 * By the data sheet, chapter "Boot Loader Support": after BLBSET and SPMEN are written together an
 * LPM within three cycles reads fuse bytes in place of flash: 0 low, 1 lock, 2 extended, 3 high. */
#include "parts.h"

#include <string.h>

#define BLBSET_SPMEN 0x09u
#define READ_CYCLES 4u

static void swap(struct shim *shim)
{
    uint8_t kept[FUSE_BYTES];
    memcpy(kept, shim->avr->flash, FUSE_BYTES);
    memcpy(shim->avr->flash, shim->fuses.bytes, FUSE_BYTES);
    memcpy(shim->fuses.bytes, kept, FUSE_BYTES);
    shim->fuses.are_shown = !shim->fuses.are_shown;
}

static avr_cycle_count_t hide(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct shim *shim = param;
    (void)when;
    if (shim->fuses.are_shown) {
        swap(shim);
        avr->data[REG_SPMCSR] &= (uint8_t)~BLBSET_SPMEN;
    }
    return 0;
}

static void write_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct shim *shim = param;
    if (value != BLBSET_SPMEN) {
        shim->fuses.write(avr, address, value, shim->fuses.param);
        return;
    }
    avr->data[address] = value;
    if (!shim->fuses.are_shown) {
        swap(shim);
        shim_call_at(shim, avr->cycle + READ_CYCLES, hide);
    }
}

void fuses_join(struct shim *shim)
{
    static const uint8_t fuses[FUSE_BYTES] = {0xff, 0xff, 0xfc, 0xc7};
    avr_io_addr_t io = AVR_DATA_TO_IO(REG_SPMCSR);
    memcpy(shim->fuses.bytes, fuses, FUSE_BYTES);
    shim->fuses.write = shim->avr->io[io].w.c;
    shim->fuses.param = shim->avr->io[io].w.param;
    shim_hook_write(shim, REG_SPMCSR, write_control);
}

void fuses_reset(struct shim *shim)
{
    if (shim->fuses.are_shown) {
        swap(shim);
    }
}

void shim_set_fuse(struct shim *shim, uint8_t number, uint8_t value)
{
    fuses_reset(shim);
    shim->fuses.bytes[number % FUSE_BYTES] = value;
}
