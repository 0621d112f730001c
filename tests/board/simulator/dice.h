// Random numbers that are the same for the same seed on every machine.
#ifndef DICE_H
#define DICE_H

#include <stdint.h>

struct dice {
    uint64_t state;
    double spare;
    int has_spare;
};

void dice_seed(struct dice *dice, uint64_t seed);
uint32_t dice_bits(struct dice *dice);

// Even between 0 and 1, neither included.
double dice_even(struct dice *dice);

// Normal, deviation 1.
double dice_normal(struct dice *dice);

// Waiting time of something that happens `rate` times a second, in seconds.
double dice_wait(struct dice *dice, double rate);

#endif
