/* Cooling fan driven by a duty: curve on coolant temperature, soft start, slew, lowest duty.
 *
 * Rule 11: the highest wish wins; on at loss of coolant data with ignition on, off while cranking,
 * off with ignition off but for the after-run. Stopping for those reasons is at once; a start is
 * always soft. The fan starts when at least the lowest duty is asked and stops when none is
 * asked. */
#ifndef XB_COOLING_FAN_DUTY_H
#define XB_COOLING_FAN_DUTY_H

#include "arithmetic.h"
#include "cooling_fan.h"
#include "fan_demand.h"

/* Duties in steps of the output, rates in steps per second (0 = at once), control ticks.
 *
 * - `requests` ask for a fixed duty while not 0 (their `stage` is the duty);
 * - `follow` is a quantity whose value is the duty asked (XB_NONE = absent);
 * - after a start the duty stays at `minimum` for `soft_start`, then rises;
 * - `full` minus duty is put out where `inverted`. */
typedef struct {
    const xb_fan_demand_spec *demand;
    const xb_fan_request_spec *requests;
    xb_curve curve;
    uint32_t request_count;
    int32_t follow;
    int32_t minimum;
    int32_t full;
    int32_t on_loss;
    uint32_t soft_start;
    uint32_t rise;
    uint32_t fall;
    uint32_t min_on;
    uint32_t min_off;
    uint32_t control_ms;
    uint16_t coolant;
    uint16_t output;
    uint8_t inverted;
} xb_cooling_fan_duty_spec;

void xb_cooling_fan_duty_step(const xb_cooling_fan_duty_spec *spec,
                              xb_cooling_fan_duty_state *state, xb_fan_demand_state *demand,
                              const xb_store *store, const xb_power_state *power);

#endif
