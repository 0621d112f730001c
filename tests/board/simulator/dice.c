#include "dice.h"

#include <math.h>

// G. Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8 (14), 2003; the multiplication
// after it hides the weak low bits.
static uint64_t next(struct dice *dice)
{
    uint64_t x = dice->state;
    x ^= x >> 12;
    x ^= x << 25;
    x ^= x >> 27;
    dice->state = x;
    return x * 0x2545F4914F6CDD1DULL;
}

void dice_seed(struct dice *dice, uint64_t seed)
{
    dice->state = seed * 0x9E3779B97F4A7C15ULL + 0x1234567890ABCDEFULL;
    if (dice->state == 0)
        dice->state = 1;
    dice->has_spare = 0;
    for (int i = 0; i < 8; i++)
        next(dice);
}

uint32_t dice_bits(struct dice *dice)
{
    return (uint32_t)(next(dice) >> 32);
}

double dice_even(struct dice *dice)
{
    return ((double)(next(dice) >> 11) + 0.5) * 0x1p-53;
}

double dice_normal(struct dice *dice)
{
    if (dice->has_spare) {
        dice->has_spare = 0;
        return dice->spare;
    }
    double length = sqrt(-2.0 * log(dice_even(dice)));
    double turn = 2.0 * M_PI * dice_even(dice);
    dice->spare = length * sin(turn);
    dice->has_spare = 1;
    return length * cos(turn);
}

double dice_wait(struct dice *dice, double rate)
{
    return -log(dice_even(dice)) / rate;
}
