/* Fuel pump relay: prime once per ignition cycle, run with rotation, off without, off on loss.
 *
 * Rule 11: the pump is off without rotation. Loss of engine speed switches it off at once, even in
 * the prime time; a speed that was never received is no loss before its first deadline. */
#ifndef XB_FUEL_PUMP_H
#define XB_FUEL_PUMP_H

#include "power.h"
#include "quantities.h"

/* Quantity indices; rotation threshold in steps of engine speed; times in control ticks. */
typedef struct {
    int32_t rotation_above;
    uint32_t prime;
    uint32_t off_delay;
    uint16_t output;
    uint16_t engine_speed;
} xb_fuel_pump_spec;

void xb_fuel_pump_step(const xb_fuel_pump_spec *spec, xb_fuel_pump_state *state,
                       const xb_store *store, const xb_power_state *power);

#endif
