/* Wishes and limits that cooling fans share, beside the coolant temperature itself.
 *
 * Air-conditioning floor, refrigerant pressure, over-voltage, after-run. A level is a number of
 * relay stages (cooling_fan) or a duty (cooling_fan_duty); the highest wish wins (rule 11). */
#ifndef XB_FAN_DEMAND_H
#define XB_FAN_DEMAND_H

#include "power.h"
#include "quantities.h"

/* Refrigerant pressure: `level` asked from at or above `on` to at or below `off`. */
typedef struct {
    int32_t on;
    int32_t off;
    int32_t level;
    uint16_t quantity;
} xb_fan_pressure_spec;

/* Quantity indices (XB_NONE = absent), thresholds in their steps, times in control ticks.
 *
 * - `compressor` not 0 asks for `compressor_level`, dropped from road speed `drop_above` on until
 *   at or below `restore_below`;
 * - `inhibit_supply` at or above `inhibit_above` (mV) stops the fans until at or below
 *   `inhibit_below`; with `inhibit_on_loss` also while coolant data is lost, else loss goes first;
 * - `after_run` is the longest run with ignition off, begun at or above `after_run_above` of
 *   coolant, ended at or below `after_run_below`, or with `after_run_supply` under
 *   `after_run_least_mv`;
 * - `stage_delay` is the shortest time between the starts of two relay stages. */
typedef struct {
    const xb_fan_pressure_spec *pressures;
    uint32_t pressure_count;
    int32_t compressor;
    int32_t compressor_level;
    int32_t road_speed;
    int32_t drop_above;
    int32_t restore_below;
    int32_t inhibit_supply;
    int32_t inhibit_above;
    int32_t inhibit_below;
    uint32_t after_run;
    int32_t after_run_level;
    int32_t after_run_above;
    int32_t after_run_below;
    int32_t after_run_supply;
    int32_t after_run_least_mv;
    uint32_t stage_delay;
    uint8_t inhibit_on_loss;
} xb_fan_demand_spec;

int32_t xb_fan_demand_ask(const xb_fan_demand_spec *spec, xb_fan_demand_state *state,
                          const xb_store *store, uint8_t ignition);
uint8_t xb_fan_demand_inhibited(const xb_fan_demand_spec *spec, xb_fan_demand_state *state,
                                const xb_store *store, uint8_t failsafe);
int32_t xb_fan_demand_after_run(const xb_fan_demand_spec *spec, xb_fan_demand_state *state,
                                const xb_store *store, const xb_power_state *power,
                                const xb_quantity_state *coolant);

#endif
