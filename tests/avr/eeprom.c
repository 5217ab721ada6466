/* The EEPROM with the time that it takes to write, which the simulator's own does not take.
 * See shim.h.
 *
 * By the controller's data sheet: 3.4 ms to erase and write, 1.8 ms for either alone; EEPE stays
 * set meanwhile, and nothing of it may then be read or written. Power that goes in the middle
 * leaves the byte erased. */
#include "parts.h"

#include <string.h>

#define EEPM 0x30u
#define EEPM_ERASE 0x10u
#define EEPM_WRITE 0x20u
#define EERIE 0x08u
#define EEMPE 0x04u
#define EEPE 0x02u
#define EERE 0x01u
#define ERASED 0xffu
#define WRITE_US 3400u
#define ALONE_SHARE_NUM 9u /* 1.8 of 3.4 ms */
#define ALONE_SHARE_DEN 17u
#define OPEN_CYCLES 4u

static avr_cycle_count_t end_write(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct shim *shim = param;
    (void)when;
    shim->eeprom.is_writing = false;
    avr->data[REG_EECR] &= (uint8_t)~EEPE;
    if (avr->data[REG_EECR] & EERIE) {
        avr_raise_interrupt(avr, &shim->eeprom.io->ready);
    }
    return 0;
}

static void begin_write(struct shim *shim, uint8_t mode)
{
    struct eeprom *eeprom = &shim->eeprom;
    uint8_t *data = shim->avr->data, value = data[REG_EEDR];
    uint64_t cycles = eeprom->write_cycles;
    uint8_t *byte = &eeprom->bytes[eeprom->address];
    if (mode == EEPM_ERASE) {
        value = ERASED;
    } else if (mode == EEPM_WRITE) {
        value &= *byte;
    }
    if (mode) {
        cycles = cycles * ALONE_SHARE_NUM / ALONE_SHARE_DEN;
    }
    *byte = value;
    eeprom->writes++;
    if (cycles) {
        eeprom->is_writing = true;
        eeprom->done = shim->avr->cycle + cycles;
        data[REG_EECR] |= EEPE;
        shim_call_at(shim, eeprom->done, end_write);
    }
}

static void write_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct shim *shim = param;
    struct eeprom *eeprom = &shim->eeprom;
    uint8_t *data = avr->data;
    uint16_t at = (uint16_t)((data[REG_EEARL] | data[REG_EEARH] << 8) % SHIM_EEPROM_BYTES);
    uint8_t before = data[address];
    bool opens = value & EEMPE, writes = value & EEPE && !(before & EEPE);
    data[address] = (before & EEPE) | (value & (EEPM | EERIE));
    if (value & EERE) {
        if (eeprom->is_writing) {
            shim->misused[SHIM_MISUSE_EEPROM]++;
        } else {
            data[REG_EEDR] = eeprom->bytes[at];
        }
    }
    if (writes && eeprom->is_open && avr->cycle - eeprom->opened <= OPEN_CYCLES) {
        eeprom->is_open = false;
        eeprom->address = at;
        begin_write(shim, value & EEPM);
    } else if (opens) {
        if (eeprom->is_writing) {
            shim->misused[SHIM_MISUSE_EEPROM]++;
        }
        eeprom->is_open = true;
        eeprom->opened = avr->cycle;
    }
    if (value & ~before & EERIE && !eeprom->is_writing) {
        avr_raise_interrupt(avr, &eeprom->io->ready);
    }
}

void eeprom_join(struct shim *shim)
{
    struct eeprom *eeprom = &shim->eeprom;
    memset(eeprom->bytes, ERASED, sizeof eeprom->bytes);
    eeprom->write_cycles = WRITE_US * (SHIM_HZ / 1000000u);
    shim_hook_write(shim, REG_EECR, write_control);
}

void eeprom_reset(struct shim *shim, bool power)
{
    struct eeprom *eeprom = &shim->eeprom;
    eeprom->is_open = false;
    if (power && eeprom->is_writing) {
        eeprom->bytes[eeprom->address] = ERASED;
        eeprom->is_writing = false;
    }
}

/* A reset does not stop a byte that is being written. */
void eeprom_resume(struct shim *shim)
{
    if (shim->eeprom.is_writing) {
        shim->avr->data[REG_EECR] |= EEPE;
        shim_call_at(shim, shim->eeprom.done, end_write);
    }
}

void shim_load_eeprom(struct shim *shim, const uint8_t *bytes)
{
    memcpy(shim->eeprom.bytes, bytes, SHIM_EEPROM_BYTES);
}

void shim_dump_eeprom(const struct shim *shim, uint8_t *bytes)
{
    memcpy(bytes, shim->eeprom.bytes, SHIM_EEPROM_BYTES);
}

void shim_set_write_time(struct shim *shim, uint32_t cycles)
{
    shim->eeprom.write_cycles = cycles;
}

uint32_t shim_writes(const struct shim *shim)
{
    return shim->eeprom.writes;
}

bool shim_is_writing(const struct shim *shim)
{
    return shim->eeprom.is_writing;
}
