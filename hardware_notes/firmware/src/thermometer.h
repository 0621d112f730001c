/* Temperature of the board, read while the converter has nothing else to do. */
#ifndef THERMOMETER_H
#define THERMOMETER_H

#include <stdint.h>

#define TEMPERATURE_UNKNOWN INT16_MIN

/* Reads it now if the converter is idle: takes 0.2 ms. */
void thermometer_read(void);

/* Tenths of a degree Celsius, or TEMPERATURE_UNKNOWN: never read, not for a minute, no thermistor. */
int16_t thermometer_tenths(void);

#endif
