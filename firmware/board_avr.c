/* ATmega328P at 16 MHz. Data sheet facts are from its "8-bit AVR Microcontroller" data sheet:
 * chapters named where used. Nothing here may let a compare output reach PD7: the contactor's train
 * has no other driver than the tick's software toggle. */
#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "pins.h"
#include "safety.h"
#include "unit.h"

#if F_CPU != 16000000UL
#error "timings below are for 16 MHz"
#endif

#define TICK_COUNTS 1000u     /* of 0.5 us: a tick is 0.5 ms */
#define PERMISSION_TICKS 200u /* 100 ms */
#define RING_BYTES 32u        /* a power of two; the longest pass lets 20 bytes come */
#define SPI_WAIT 200u         /* a byte takes 8 us; an answer that does not come reads as no chip */
#define ADC_WAIT 1000u

volatile uint32_t board_ms; /* of the tick; the clock of everything */
static volatile uint16_t ticks;
static volatile uint8_t permission;
static volatile uint8_t ring[RING_BYTES];
static volatile uint8_t ring_in;
static volatile uint8_t ring_out;
static const uint8_t *volatile sending;
static volatile uint8_t to_send;

ISR(TIMER1_COMPA_vect)
{
    if (permission != 0u) {
        permission--;
        PIND = PIN_CONTACTOR_TRAIN_MASK; /* a written PIN bit toggles the port's */
    } else {
        PORTD &= (uint8_t)~PIN_CONTACTOR_TRAIN_MASK;
    }
    ticks++;
    if ((ticks & 1u) == 0u) {
        board_ms++;
    }
}

ISR(USART_RX_vect)
{
    bool wrong = (UCSR0A & ((1u << FE0) | (1u << DOR0))) != 0u;
    uint8_t byte = UDR0;
    uint8_t next = (ring_in + 1u) & (RING_BYTES - 1u);
    if (next != ring_out) {
        ring[ring_in] = wrong ? 0u : byte;
        ring_in = next;
    }
}

ISR(USART_UDRE_vect)
{
    const uint8_t *at = sending;
    if (to_send == 0u) {
        UCSR0B &= (uint8_t)~(1u << UDRIE0);
        return;
    }
    UDR0 = *at;
    sending = at + 1;
    to_send--;
    if (to_send == 0u) {
        UCSR0B &= (uint8_t)~(1u << UDRIE0);
    }
}

void board_start_peripherals(void)
{
    /* Tick: timer 1, clear on compare, clk/8, its output pins left alone. */
    OCR1A = TICK_COUNTS - 1u;
    TCCR1A = 0;
    TCCR1B = (1u << WGM12) | (1u << CS11);
    /* Line: 38400 baud 8N1, 0.16 % fast. */
    UBRR0 = 25;
    UCSR0A = 0;
    UCSR0C = (1u << UCSZ01) | (1u << UCSZ00);
    UCSR0B = (1u << RXEN0) | (1u << TXEN0) | (1u << RXCIE0);
    /* Converters: mode 0, 1 MHz. */
    SPCR = (1u << SPE) | (1u << MSTR) | (1u << SPR0);
    SPSR = 0;
    /* Analogue inputs against the supply, 125 kHz. */
    ADCSRA = (1u << ADEN) | (1u << ADPS2) | (1u << ADPS1) | (1u << ADPS0);
    SMCR = 0; /* idle: timer and line go on */
}

void board_start_tick(void)
{
    TIFR1 = 1u << OCF1A;
    TIMSK1 = 1u << OCIE1A;
    sei();
}

uint32_t board_now_ms(void)
{
    uint8_t flags = SREG;
    cli();
    uint32_t now_ms = board_ms;
    SREG = flags;
    return now_ms;
}

uint16_t board_clock_10us(void)
{
    uint8_t flags = SREG;
    cli();
    uint16_t counts = TCNT1;
    uint16_t whole = ticks;
    if ((TIFR1 & (1u << OCF1A)) != 0u && counts < TICK_COUNTS / 2u) {
        whole++;
    }
    SREG = flags;
    return (uint16_t)(whole * 50u + counts / 20u);
}

void board_permit(void)
{
    permission = PERMISSION_TICKS;
}

void board_forbid(void)
{
    permission = 0;
}

void board_feed_watchdog(void)
{
    wdt_reset();
}

void board_sleep(void)
{
    SMCR = 1u << SE;
    __asm__ volatile("sleep" ::: "memory");
    SMCR = 0;
}

bool board_receive(uint8_t *byte)
{
    if (ring_out == ring_in) {
        return false;
    }
    *byte = ring[ring_out];
    ring_out = (ring_out + 1u) & (RING_BYTES - 1u);
    return true;
}

bool board_is_sending(void)
{
    return to_send != 0u;
}

void board_send(const uint8_t *bytes, uint8_t length)
{
    sending = bytes;
    to_send = length;
    UCSR0B |= 1u << UDRIE0;
}

static uint8_t spi_byte(void)
{
    SPDR = 0;
    for (uint8_t wait = 0; wait < SPI_WAIT; wait++) {
        if ((SPSR & (1u << SPIF)) != 0u) {
            return SPDR;
        }
    }
    return 0xFFu;
}

uint32_t board_read_converter(uint8_t half)
{
    uint32_t raw = 0;
    if (half == SAFETY_UPPER) {
        PORTB &= (uint8_t)~PIN_SELECT_UPPER_MASK;
    } else {
        PORTB &= (uint8_t)~PIN_SELECT_LOWER_MASK;
    }
    for (uint8_t byte = 0; byte < 4u; byte++) {
        raw = (raw << 8) | spi_byte();
    }
    PORTB |= PIN_SELECT_UPPER_MASK | PIN_SELECT_LOWER_MASK;
    return raw;
}

static uint16_t read_analogue(uint8_t channel)
{
    ADMUX = (uint8_t)((1u << REFS0) | channel);
    ADCSRA |= 1u << ADSC;
    for (uint16_t wait = 0; wait < ADC_WAIT && (ADCSRA & (1u << ADSC)) != 0u; wait++) {
    }
    return ADC;
}

uint16_t board_read_identity(void)
{
    return read_analogue(PIN_IDENTITY_CHANNEL);
}

uint16_t board_read_force(void)
{
    return read_analogue(PIN_FORCE_CHANNEL);
}

uint16_t board_switches(void)
{
    uint8_t c = (uint8_t)(PINC ^ PINS_C_ACTIVE_LOW);
    uint8_t d = (uint8_t)(PIND ^ PINS_D_ACTIVE_LOW);
    uint16_t switches = 0;
    switches |= (d & PIN_MOULD_SWITCH_MASK) != 0u ? SAFETY_IN_OPEN : 0u;
    switches |= (d & PIN_NEXT_MASK) != 0u ? SAFETY_IN_NEXT : 0u;
    switches |= (c & PIN_ARM_MASK) != 0u ? SAFETY_IN_ARM : 0u;
    switches |= (c & PIN_BUTTON_MASK) != 0u ? SAFETY_IN_BUTTON : 0u;
    switches |= (c & PIN_CHAIN_MASK) == 0u ? SAFETY_IN_THERMOSTAT : 0u;
    switches |= (c & PIN_MAINS_MASK) != 0u ? SAFETY_IN_MAINS : 0u;
    switches |= (c & PIN_MIRROR_MASK) != 0u ? SAFETY_IN_CONTACTOR : 0u;
    return switches;
}

/* Single bits, so that a tick in between cannot be undone. */
void board_set_pins(uint8_t pins)
{
    if ((pins & UNIT_PIN_HEATER_UPPER) != 0u) {
        PORTD |= PIN_HEATER_UPPER_MASK;
    } else {
        PORTD &= (uint8_t)~PIN_HEATER_UPPER_MASK;
    }
    if ((pins & UNIT_PIN_HEATER_LOWER) != 0u) {
        PORTD |= PIN_HEATER_LOWER_MASK;
    } else {
        PORTD &= (uint8_t)~PIN_HEATER_LOWER_MASK;
    }
    if ((pins & UNIT_PIN_HOT_LAMP) != 0u) {
        PORTD |= PIN_HOT_LAMP_MASK;
    } else {
        PORTD &= (uint8_t)~PIN_HOT_LAMP_MASK;
    }
    if ((pins & UNIT_PIN_CALL_LAMP) != 0u) {
        PORTB |= PIN_CALL_LAMP_MASK;
    } else {
        PORTB &= (uint8_t)~PIN_CALL_LAMP_MASK;
    }
    if ((pins & UNIT_PIN_BUZZER) != 0u) {
        PORTC |= PIN_BUZZER_MASK;
    } else {
        PORTC &= (uint8_t)~PIN_BUZZER_MASK;
    }
}

uint8_t board_eeprom_peek(uint16_t address)
{
    while ((EECR & (1u << EEPE)) != 0u) {
    }
    EEAR = address;
    EECR |= 1u << EERE;
    return EEDR;
}

bool board_eeprom_is_ready(void)
{
    return (EECR & (1u << EEPE)) == 0u;
}

void board_eeprom_write(uint16_t address, uint8_t value)
{
    uint8_t flags = SREG;
    EEAR = address;
    EEDR = value;
    cli();
    EECR |= 1u << EEMPE;
    EECR |= 1u << EEPE;
    SREG = flags;
}
