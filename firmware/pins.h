/* Made by hardware/draw.py from hardware/pins.csv: change the table, not this file.
 *
 * _ACTIVE is the level that means what the name says. PINS_x_START is the first
 * port write, outputs off and inner pull-ups on; it comes before PINS_x_OUT goes to
 * the direction register. A port's inputs XOR PINS_x_ACTIVE_LOW have a bit set where
 * what the name says is true. */
#ifndef PINS_H
#define PINS_H

/* PD0, in: line from the host */
#define PIN_RECEIVE_PIN PIND
#define PIN_RECEIVE_LETTER 'D'
#define PIN_RECEIVE_BIT 0u
#define PIN_RECEIVE_MASK 0x01u
#define PIN_RECEIVE_ACTIVE 0u

/* PD1, out: line to the host */
#define PIN_TRANSMIT_PORT PORTD
#define PIN_TRANSMIT_LETTER 'D'
#define PIN_TRANSMIT_BIT 1u
#define PIN_TRANSMIT_MASK 0x02u
#define PIN_TRANSMIT_ACTIVE 0u

/* PD2, in: contact to ground that is closed while the mould is closed */
#define PIN_MOULD_SWITCH_PIN PIND
#define PIN_MOULD_SWITCH_LETTER 'D'
#define PIN_MOULD_SWITCH_BIT 2u
#define PIN_MOULD_SWITCH_MASK 0x04u
#define PIN_MOULD_SWITCH_ACTIVE 1u

/* PD3, in: NEXT/MARK: contact to ground that closes while pressed */
#define PIN_NEXT_PIN PIND
#define PIN_NEXT_LETTER 'D'
#define PIN_NEXT_BIT 3u
#define PIN_NEXT_MASK 0x08u
#define PIN_NEXT_ACTIVE 0u

/* PD4, out: HOT lamp driver */
#define PIN_HOT_LAMP_PORT PORTD
#define PIN_HOT_LAMP_LETTER 'D'
#define PIN_HOT_LAMP_BIT 4u
#define PIN_HOT_LAMP_MASK 0x10u
#define PIN_HOT_LAMP_ACTIVE 1u

/* PD5, out: switch of the upper half's heater */
#define PIN_HEATER_UPPER_PORT PORTD
#define PIN_HEATER_UPPER_LETTER 'D'
#define PIN_HEATER_UPPER_BIT 5u
#define PIN_HEATER_UPPER_MASK 0x20u
#define PIN_HEATER_UPPER_ACTIVE 1u

/* PD6, out: switch of the lower half's heater */
#define PIN_HEATER_LOWER_PORT PORTD
#define PIN_HEATER_LOWER_LETTER 'D'
#define PIN_HEATER_LOWER_BIT 6u
#define PIN_HEATER_LOWER_MASK 0x40u
#define PIN_HEATER_LOWER_ACTIVE 1u

/* PD7, out: pulse train into the enable circuit */
#define PIN_CONTACTOR_TRAIN_PORT PORTD
#define PIN_CONTACTOR_TRAIN_LETTER 'D'
#define PIN_CONTACTOR_TRAIN_BIT 7u
#define PIN_CONTACTOR_TRAIN_MASK 0x80u

/* PB0, out: call lamp driver */
#define PIN_CALL_LAMP_PORT PORTB
#define PIN_CALL_LAMP_LETTER 'B'
#define PIN_CALL_LAMP_BIT 0u
#define PIN_CALL_LAMP_MASK 0x01u
#define PIN_CALL_LAMP_ACTIVE 1u

/* PB1, out: chip select of the lower half's converter */
#define PIN_SELECT_LOWER_PORT PORTB
#define PIN_SELECT_LOWER_LETTER 'B'
#define PIN_SELECT_LOWER_BIT 1u
#define PIN_SELECT_LOWER_MASK 0x02u
#define PIN_SELECT_LOWER_ACTIVE 0u

/* PB2, out: chip select of the upper half's converter */
#define PIN_SELECT_UPPER_PORT PORTB
#define PIN_SELECT_UPPER_LETTER 'B'
#define PIN_SELECT_UPPER_BIT 2u
#define PIN_SELECT_UPPER_MASK 0x04u
#define PIN_SELECT_UPPER_ACTIVE 0u

/* PB3, in: the serial bus's unused output */
#define PIN_SPARE_PIN PINB
#define PIN_SPARE_LETTER 'B'
#define PIN_SPARE_BIT 3u
#define PIN_SPARE_MASK 0x08u

/* PB4, in: data from both converters */
#define PIN_DATA_PIN PINB
#define PIN_DATA_LETTER 'B'
#define PIN_DATA_BIT 4u
#define PIN_DATA_MASK 0x10u
#define PIN_DATA_ACTIVE 1u

/* PB5, out: clock to both converters */
#define PIN_CLOCK_PORT PORTB
#define PIN_CLOCK_LETTER 'B'
#define PIN_CLOCK_BIT 5u
#define PIN_CLOCK_MASK 0x20u
#define PIN_CLOCK_ACTIVE 1u

/* PC0, out: buzzer driver */
#define PIN_BUZZER_PORT PORTC
#define PIN_BUZZER_LETTER 'C'
#define PIN_BUZZER_BIT 0u
#define PIN_BUZZER_MASK 0x01u
#define PIN_BUZZER_ACTIVE 1u

/* PC1, in: ARM/RESET: contact to ground that closes while pressed */
#define PIN_ARM_PIN PINC
#define PIN_ARM_LETTER 'C'
#define PIN_ARM_BIT 1u
#define PIN_ARM_MASK 0x02u
#define PIN_ARM_ACTIVE 0u

/* PC2, in: second contact of the heat-off button that is closed while it is out */
#define PIN_BUTTON_PIN PINC
#define PIN_BUTTON_LETTER 'C'
#define PIN_BUTTON_BIT 2u
#define PIN_BUTTON_MASK 0x04u
#define PIN_BUTTON_ACTIVE 1u

/* PC3, in: isolated sense of the coil chain's supply end */
#define PIN_MAINS_PIN PINC
#define PIN_MAINS_LETTER 'C'
#define PIN_MAINS_BIT 3u
#define PIN_MAINS_MASK 0x08u
#define PIN_MAINS_ACTIVE 0u

/* PC4, in: isolated sense of the coil chain behind the limit thermostats */
#define PIN_CHAIN_PIN PINC
#define PIN_CHAIN_LETTER 'C'
#define PIN_CHAIN_BIT 4u
#define PIN_CHAIN_MASK 0x10u
#define PIN_CHAIN_ACTIVE 0u

/* PC5, in: mirror contact of the contactor that is closed while it is out */
#define PIN_MIRROR_PIN PINC
#define PIN_MIRROR_LETTER 'C'
#define PIN_MIRROR_BIT 5u
#define PIN_MIRROR_MASK 0x20u
#define PIN_MIRROR_ACTIVE 1u

/* ADC6, analogue: mould-identity resistor against a reference resistor */
#define PIN_IDENTITY_CHANNEL 6u

/* ADC7, analogue: force channel where one is fitted */
#define PIN_FORCE_CHANNEL 7u

#define PINS_B_OUT 0x27u
#define PINS_B_PULLUP 0x08u
#define PINS_B_START 0x0eu
#define PINS_B_ACTIVE_LOW 0x00u

#define PINS_C_OUT 0x01u
#define PINS_C_PULLUP 0x3eu
#define PINS_C_START 0x3eu
#define PINS_C_ACTIVE_LOW 0x1au

#define PINS_D_OUT 0xf2u
#define PINS_D_PULLUP 0x0cu
#define PINS_D_START 0x0eu
#define PINS_D_ACTIVE_LOW 0x09u

#endif
