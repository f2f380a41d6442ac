/* Fuel level: a slosh filter, slow while the car moves, quicker while it stands at the pump.
 *
 * A first-order filter in 65536ths of a step. It follows at once at the first value and while the
 * ignition is off, so that a tank filled with the ignition off is shown when it comes on. A road
 * speed that is not real counts as moving: a needle that creeps is better than one that swings. */
#ifndef XB_FUEL_LEVEL_H
#define XB_FUEL_LEVEL_H

#include "power.h"
#include "quantities.h"

#define XB_FUEL_LEVEL_FINE 65536 /* parts of a step the filter counts in */

/* Time constants in ms, 0 = none; hold in control ticks; input and output step alike. road_speed
 * XB_NONE means always moving; moving is at or above `moving_above` (its steps). */
typedef struct {
    int32_t road_speed;
    int32_t moving_above;
    uint32_t standing_ms;
    uint32_t moving_ms;
    uint32_t hold;
    uint32_t control_ms;
    int32_t on_loss;
    uint16_t input;
    uint16_t output;
} xb_fuel_level_spec;

void xb_fuel_level_step(const xb_fuel_level_spec *spec, xb_fuel_level_state *state,
                        const xb_store *store, const xb_power_state *power);

#endif
