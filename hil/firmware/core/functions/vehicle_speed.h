/* Vehicle speed from wheel speeds, with plausibility between wheels; never under the true speed.
 *
 * The speed is that of the fastest wheel that another wheel agrees with: a wheel that locks or
 * spins alone has no say, and of two pairs the faster one counts. While no two agree, the fastest
 * wheel counts; when that lasts the speed is called implausible. The shown speed leads by a share
 * and a fixed amount and is rounded up, so the speedometer reads no less than the car goes. */
#ifndef XB_VEHICLE_SPEED_H
#define XB_VEHICLE_SPEED_H

#include "quantities.h"

#define XB_MOST_WHEELS 8u

/* 2 to 8 wheels in steps of the output; times in control ticks. Wheels agree within `spread` plus
 * `spread_permille` of the faster one. `shown` (XB_NONE = none) is (speed*a + b) / d rounded up, 0
 * at standstill. `least` is how many wheels must have a value. */
typedef struct {
    const uint16_t *wheels;
    int64_t a;
    int64_t b;
    int64_t d;
    uint32_t wheel_count;
    int32_t shown;
    uint32_t least;
    int32_t spread;
    int32_t spread_permille;
    uint32_t disagree;
    uint32_t hold;
    int32_t on_loss;
    int32_t shown_on_loss;
    uint16_t output;
} xb_vehicle_speed_spec;

void xb_vehicle_speed_step(const xb_vehicle_speed_spec *spec, xb_vehicle_speed_state *state,
                           const xb_store *store);

#endif
