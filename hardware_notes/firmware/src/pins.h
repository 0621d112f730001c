/* Which pin does what: one place for the board's wiring. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Port D: 0 and 1 belong to the serial line. */
#define MAINS_MASK ((1 << PD2) | (1 << PD3) | (1 << PD4)) /* L1 L2 L3, low while the opto conducts */
#define MAINS_SHIFT PD2
#define INTERLOCK_BIT PD5 /* low: closed; a broken wire reads open */
#define HEARTBEAT_BIT PD6 /* its edges keep the relay registers enabled */
#define ENABLED_BIT PD7   /* high: the relay registers are enabled */

/* Port B */
#define COMPARATOR_BIT PB0 /* ICP1, high: pilot above 0 V */
#define RAMP_BIT PB1       /* drives the check ramp */
#define LATCH_BIT PB2      /* rising edge: the relays take the word over */
#define DATA_BIT PB3       /* to the first relay register */
#define READ_BACK_BIT PB4  /* from the last relay register */
#define CLOCK_BIT PB5      /* rising edge: shift */

/* Port C: 0 to 3 are converter inputs. */
#define ARMED_LAMP_BIT PC4
#define ENERGISED_BIT PC5 /* low: an output that drives K3 to K8 is on, wherever it came from */

/* Inputs of the converter, numbers of ADMUX */
#define PILOT_INPUT 0
#define RAMP_INPUT 1
#define HALF_REFERENCE_INPUT 2
#define THERMISTOR_INPUT 3
#define INTERNAL_REFERENCE_INPUT 14
#define GROUND_INPUT 15

#endif
