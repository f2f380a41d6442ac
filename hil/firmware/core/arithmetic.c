/* The integer arithmetic both sides share: one division, saturation, rates, interpolation. */
#include "arithmetic.h"

#include "unrolling.h"

/* Return numerator / denominator to the nearest integer, halves away from zero (rule 4).
 *
 * The denominator is positive. Quotient and remainder are looked at instead of adding half the
 * denominator first, so nothing overflows whatever the numerator is. */
int64_t xb_divide_rounded(int64_t numerator, int64_t denominator)
{
    int64_t quotient;
    int64_t rest; /* has the sign of the numerator */

    if (numerator >= INT32_MIN && numerator <= INT32_MAX && denominator <= INT32_MAX) {
        /* the same in 32 bit, which the processor divides by itself */
        quotient = (int32_t)numerator / (int32_t)denominator;
        rest = numerator - quotient * denominator;
    } else {
        quotient = numerator / denominator;
        rest = numerator % denominator;
    }
    if (rest >= 0) {
        if (rest >= denominator - rest) {
            quotient += 1;
        }
    } else if (-rest >= denominator + rest) {
        quotient -= 1;
    }
    return quotient;
}

/* The same in 32 bit, for a numerator that still fits with half the denominator added. */
XB_INSIDE
int32_t xb_divide_short(int32_t numerator, int32_t denominator)
{
    int32_t half = denominator / 2;

    return (numerator + (numerator < 0 ? -half : half)) / denominator;
}

/* Return numerator / denominator rounded up: for what must never be shown too low.
 *
 * The denominator is positive. */
int64_t xb_divide_up(int64_t numerator, int64_t denominator)
{
    int64_t quotient = numerator / denominator;

    return numerator % denominator > 0 ? quotient + 1 : quotient;
}

/* Return the step of a rate accumulated over elapsed_ms; the remainder 0..999 is state (rule 4). */
uint32_t xb_rate_step(uint16_t *remainder, uint32_t rate_per_s, uint32_t elapsed_ms)
{
    uint64_t accumulated = (uint64_t)*remainder + (uint64_t)rate_per_s * elapsed_ms;
    uint64_t step = accumulated / 1000u;

    *remainder = (uint16_t)(accumulated % 1000u);
    return step > UINT32_MAX ? UINT32_MAX : (uint32_t)step; /* no way is longer than 32 bits */
}

/* Return the value moved towards the target by at most step (step >= 0). */
int64_t xb_approach(int64_t value, int64_t target, int64_t step)
{
    if (value < target) {
        return value + step < target ? value + step : target;
    }
    return value - step > target ? value - step : target;
}

/* Return the curve at x: clamped at both ends, straight between points (rule 4).
 *
 * One division: (y0*dx + (x - x0)*dy) / dx, halves away from zero. */
int32_t xb_interpolate(const xb_curve *curve, int32_t x)
{
    const xb_point *points = curve->points;

    if (x <= points[0].x) {
        return points[0].y;
    }
    for (uint32_t i = 1u; i < curve->count; i++) {
        if (x <= points[i].x) {
            int64_t x0 = points[i - 1u].x;
            int64_t y0 = points[i - 1u].y;
            int64_t dx = points[i].x - x0;
            int64_t dy = points[i].y - y0;

            return (int32_t)xb_divide(y0 * dx + (x - x0) * dy, dx);
        }
    }
    return points[curve->count - 1u].y;
}
