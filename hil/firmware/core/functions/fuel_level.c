/* Fuel level: a slosh filter, slow while the car moves, quicker while it stands at the pump. */
#include "fuel_level.h"

#include "arithmetic.h"

/* Return whether the car moves, or nobody can say that it stands. */
static uint8_t moving(const xb_fuel_level_spec *spec, const xb_store *store)
{
    const xb_quantity_state *speed;

    if (spec->road_speed == XB_NONE) {
        return 1u;
    }
    speed = &store->states[spec->road_speed];
    return xb_usable(speed) == 0u || speed->value >= spec->moving_above;
}

/* Run one control tick. */
void xb_fuel_level_step(const xb_fuel_level_spec *spec, xb_fuel_level_state *state,
                        const xb_store *store, const xb_power_state *power)
{
    const xb_quantity_state *source = &store->states[spec->input];
    int64_t target;
    uint32_t constant;

    /* LOSS: hold, then rest */
    state->failsafe = xb_lost(source);
    if (xb_usable(source) == 0u) {
        if (state->known != 0u && state->held < spec->hold) {
            state->held += 1u;
            xb_publish_wide(store, spec->output, xb_divide(state->fine, XB_FUEL_LEVEL_FINE),
                            source->status, 1u);
            return;
        }
        state->known = 0u;
        xb_publish(store, spec->output, spec->on_loss, source->status, 0u);
        return;
    }
    state->held = 0u;

    /* FILTER */
    target = (int64_t)source->value * XB_FUEL_LEVEL_FINE;
    constant = moving(spec, store) != 0u ? spec->moving_ms : spec->standing_ms;
    if (state->known == 0u || xb_ignition_is_on(power) == 0u || constant == 0u) {
        state->known = 1u;
        state->fine = target;
    } else {
        state->fine += xb_divide((target - state->fine) * (int64_t)spec->control_ms, constant);
    }

    /* OUTPUT */
    xb_publish_wide(store, spec->output, xb_divide(state->fine, XB_FUEL_LEVEL_FINE),
                    source->status, 1u);
}
