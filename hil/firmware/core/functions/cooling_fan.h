/* Cooling fan: any number of relay stages on coolant temperature; the highest request wins.
 *
 * Rule 11: on at loss of coolant data with ignition on, off while cranking, off with ignition off
 * but for the after-run. The safe state acts at once; minimum on and off times hold only for the
 * stages' own requests. The delay between the starts of two stages spares the supply and is always
 * kept. */
#ifndef XB_COOLING_FAN_H
#define XB_COOLING_FAN_H

#include "fan_demand.h"
#include "power.h"
#include "quantities.h"

/* One stage: on at or above `on`, off at or below `off` (steps of coolant), 0/1 to output. */
typedef struct {
    int32_t on;
    int32_t off;
    uint16_t output;
} xb_fan_stage_spec;

/* Another wish for cooling: while the quantity is not 0, at least `stage` stages run. */
typedef struct {
    uint32_t stage;
    uint16_t quantity;
} xb_fan_request_spec;

/* Stages in rising order; times in control ticks; on_loss_stage is 0..number of stages.
 * `first_stage` is the place of its first stage among the stages of all fans; `demand` is NULL
 * where the pairing has no further wishes. */
typedef struct {
    const xb_fan_stage_spec *stages;
    const xb_fan_request_spec *requests;
    const xb_fan_demand_spec *demand;
    uint32_t stage_count;
    uint32_t request_count;
    uint32_t first_stage;
    uint32_t min_on;
    uint32_t min_off;
    uint32_t on_loss_stage;
    uint16_t coolant;
} xb_cooling_fan_spec;

void xb_cooling_fan_step(const xb_cooling_fan_spec *spec, xb_cooling_fan_state *state,
                         xb_fan_stage_state *stages, xb_fan_demand_state *demand,
                         const xb_store *store, const xb_power_state *power);

#endif
