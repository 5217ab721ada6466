/* A small image that tries the simulation out: one letter on the line, one deed. Built by
 * test_chip.py; it has nothing to do with the board's own image but its pins. */
#include <avr/boot.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stdbool.h>
#include <stdint.h>

#include "pins.h"

#define TICK_COUNTS 1000u /* of 0.5 us */
#define EEPROM_AT 5u

uint8_t probe_cause __attribute__((section(".noinit")));
uint8_t probe_kept __attribute__((section(".noinit")));
volatile uint16_t probe_ticks;
static volatile bool train;

void probe_early(void) __attribute__((naked, used, section(".init3")));
void probe_early(void)
{
    probe_cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

ISR(TIMER1_COMPA_vect)
{
    if (train) {
        PIND = PIN_CONTACTOR_TRAIN_MASK;
    }
    probe_ticks++;
}

ISR(TIMER2_COMPA_vect)
{
    PORTD ^= PIN_CONTACTOR_TRAIN_MASK; /* 62.5 Hz: what a hung timer might produce */
}

static void say(char letter)
{
    while (!(UCSR0A & (1u << UDRE0))) {
    }
    UDR0 = (uint8_t)letter;
}

static void say_hex(uint32_t value)
{
    for (int8_t shift = 28; shift >= 0; shift -= 4) {
        say("0123456789abcdef"[value >> shift & 15u]);
    }
    say('\n');
}

static uint32_t read_converters(uint8_t select)
{
    uint32_t raw = 0;
    PORTB &= (uint8_t)~select;
    for (uint8_t byte = 0; byte < 4u; byte++) {
        SPDR = 0;
        while (!(SPSR & (1u << SPIF))) {
        }
        raw = raw << 8 | SPDR;
    }
    PORTB |= select;
    return raw;
}

static void wait_ms(uint16_t ms)
{
    uint16_t begin = probe_ticks;
    while (probe_ticks - begin < 2u * ms) {
        sleep_mode();
    }
}

/* Counts of timer 1 that a byte of EEPROM takes, whole ticks included. */
static uint32_t time_eeprom(uint8_t value)
{
    EEAR = EEPROM_AT;
    EEDR = value;
    uint16_t ticks = probe_ticks, counts = TCNT1;
    cli();
    EECR |= 1u << EEMPE;
    EECR |= 1u << EEPE;
    sei();
    while (EECR & (1u << EEPE)) {
    }
    return (uint32_t)(probe_ticks - ticks) * TICK_COUNTS + TCNT1 - counts;
}

static uint8_t peek_eeprom(void)
{
    EEAR = EEPROM_AT;
    EECR |= 1u << EERE;
    return EEDR;
}

static uint16_t time_bus(void)
{
    cli();
    uint16_t begin = TCNT1;
    (void)read_converters(PIN_SELECT_UPPER_MASK);
    uint16_t took = TCNT1 - begin;
    sei();
    return took;
}

static uint16_t analogue(void)
{
    ADMUX = (1u << REFS0) | PIN_IDENTITY_CHANNEL;
    ADCSRA |= 1u << ADSC;
    while (ADCSRA & (1u << ADSC)) {
    }
    return ADC;
}

/* What the receiver has kept after interrupts were off for so long, and whether it says that it
 * lost some. */
static void be_deaf(void)
{
    uint16_t kept = 0;
    cli();
    for (uint16_t tick = 0; tick < 20u; tick++) {
        while (!(TIFR1 & (1u << OCF1A))) {
        }
        TIFR1 = 1u << OCF1A;
    }
    bool lost = UCSR0A & (1u << DOR0);
    while (UCSR0A & (1u << RXC0)) {
        kept = (uint16_t)(kept << 4 | (UDR0 & 15u));
    }
    sei();
    say_hex((uint32_t)lost << 16 | kept);
}

static void act(char letter)
{
    switch (letter) {
    case 'u':
        say_hex(read_converters(PIN_SELECT_UPPER_MASK));
        break;
    case 'l':
        say_hex(read_converters(PIN_SELECT_LOWER_MASK));
        break;
    case 'b':
        say_hex(read_converters(PIN_SELECT_UPPER_MASK | PIN_SELECT_LOWER_MASK));
        break;
    case 't':
        say_hex(time_bus());
        break;
    case 'f':
        SPCR = (1u << SPE) | (1u << MSTR);
        SPSR = 1u << SPI2X;
        break;
    case 's':
        say_hex((uint32_t)(PINC & 0x3eu) << 8 | (PIND & 0x0cu));
        break;
    case 'a':
        say_hex(analogue());
        break;
    case 'e':
        say_hex(time_eeprom(0x5a));
        break;
    case 'E':
        EEAR = EEPROM_AT;
        EEDR = 0x77;
        cli();
        EECR |= 1u << EEMPE;
        EECR |= 1u << EEPE;
        sei();
        break;
    case 'p':
        say_hex(peek_eeprom());
        break;
    case 'w':
        (void)time_eeprom(0x11);
        EECR |= 1u << EEMPE;
        EECR |= 1u << EEPE;
        say_hex(peek_eeprom());
        break;
    case 'c':
        say_hex((uint32_t)probe_cause << 8 | probe_kept);
        break;
    case 'k':
        probe_kept = 0x3c;
        break;
    case 'g':
        train = true;
        break;
    case 'x':
        train = false;
        break;
    case 'y':
        TCCR2A = 1u << WGM21;
        OCR2A = 124;
        TIMSK2 = 1u << OCIE2A;
        TCCR2B = (1u << CS22) | (1u << CS21) | (1u << CS20);
        break;
    case 'o':
        PORTD |= PIN_HEATER_UPPER_MASK;
        wait_ms(30);
        PORTD &= (uint8_t)~PIN_HEATER_UPPER_MASK;
        break;
    case 'O':
        PORTD |= PIN_HEATER_UPPER_MASK;
        break;
    case 'i':
        PORTD |= PIN_HEATER_LOWER_MASK;
        asm volatile("sbi %0, 4" ::"I"(_SFR_IO_ADDR(PIND)));
        say_hex(PORTD);
        break;
    case 'F':
        say_hex((uint32_t)boot_lock_fuse_bits_get(GET_HIGH_FUSE_BITS) << 8 |
                boot_lock_fuse_bits_get(GET_EXTENDED_FUSE_BITS));
        break;
    case 'd':
        be_deaf();
        break;
    case 'W':
        wdt_enable(WDTO_250MS);
        for (;;) {
        }
    case 'z':
        cli();
        sleep_enable();
        sleep_cpu();
        break;
    case 'j':
        asm volatile("jmp 0x7ffe");
        break;
    default:
        say(letter);
        break;
    }
}

int main(void)
{
    PORTB = PINS_B_START;
    PORTC = PINS_C_START;
    PORTD = PINS_D_START;
    DDRB = PINS_B_OUT;
    DDRC = PINS_C_OUT;
    DDRD = PINS_D_OUT;
    SPCR = (1u << SPE) | (1u << MSTR) | (1u << SPR0);
    UBRR0 = 25;
    UCSR0C = (1u << UCSZ01) | (1u << UCSZ00);
    UCSR0B = (1u << RXEN0) | (1u << TXEN0);
    OCR1A = TICK_COUNTS - 1u;
    TCCR1B = (1u << WGM12) | (1u << CS11);
    TIMSK1 = 1u << OCIE1A;
    ADCSRA = (1u << ADEN) | 7u;
    sei();
    for (;;) {
        if (UCSR0A & (1u << RXC0)) {
            act((char)UDR0);
        } else {
            sleep_mode();
        }
    }
}
