/* The integer arithmetic both sides share: one division, saturation, rates, interpolation.
 *
 * The reference's language floors, this one truncates. So no other module of the core divides a
 * value that may be negative, and no negative value is ever shifted (rule 4). */
#ifndef XB_ARITHMETIC_H
#define XB_ARITHMETIC_H

#include <stdint.h>

/* A point of a curve; x rises strictly along a curve of at least one point. */
typedef struct {
    int32_t x;
    int32_t y;
} xb_point;

typedef struct {
    const xb_point *points;
    uint32_t count;
} xb_curve;

/* A word of a set that is not empty: which one, and its bits. */
typedef struct {
    uint32_t word;
    uint32_t bits;
} xb_set_word;

int64_t xb_divide_rounded(int64_t numerator, int64_t denominator);
int32_t xb_divide_short(int32_t numerator, int32_t denominator);
int64_t xb_divide_up(int64_t numerator, int64_t denominator);
uint32_t xb_rate_step(uint16_t *remainder, uint32_t rate_per_s, uint32_t elapsed_ms);
int64_t xb_approach(int64_t value, int64_t target, int64_t step);
int32_t xb_interpolate(const xb_curve *curve, int32_t x);

/* The smallest ones stand here, so that every caller has them without a call. */

/* Return the value limited to low..high. */
static inline int64_t xb_saturate(int64_t value, int64_t low, int64_t high)
{
    if (value < low) {
        return low;
    }
    if (value > high) {
        return high;
    }
    return value;
}

/* The same in 32 bit. */
static inline int32_t xb_saturate_short(int32_t value, int32_t low, int32_t high)
{
    if (value < low) {
        return low;
    }
    if (value > high) {
        return high;
    }
    return value;
}

/* Return numerator / denominator to the nearest integer, halves away from zero (rule 4). */
static inline int64_t xb_divide(int64_t numerator, int64_t denominator)
{
    return denominator == 1 ? numerator : xb_divide_rounded(numerator, denominator);
}

/* Return a 16-bit count plus one, saturated. */
static inline uint16_t xb_count(uint16_t value)
{
    return value < UINT16_MAX ? (uint16_t)(value + 1u) : value;
}

/* Return a 32-bit age or timer plus one, saturated. */
static inline uint32_t xb_add_one(uint32_t value)
{
    return value < UINT32_MAX ? value + 1u : value;
}

#endif
