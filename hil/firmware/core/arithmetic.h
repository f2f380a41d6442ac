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

int64_t xb_divide(int64_t numerator, int64_t denominator);
int64_t xb_divide_up(int64_t numerator, int64_t denominator);
int64_t xb_saturate(int64_t value, int64_t low, int64_t high);
uint32_t xb_rate_step(uint16_t *remainder, uint32_t rate_per_s, uint32_t elapsed_ms);
int64_t xb_approach(int64_t value, int64_t target, int64_t step);
int64_t xb_interpolate(const xb_curve *curve, int64_t x);
uint16_t xb_count(uint16_t value);
uint32_t xb_add_one(uint32_t value);

#endif
