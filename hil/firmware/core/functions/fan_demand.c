/* Wishes and limits that cooling fans share, beside the coolant temperature itself. */
#include "fan_demand.h"

/* Return the level asked for by the air conditioning and the refrigerant pressure. */
int32_t xb_fan_demand_ask(const xb_fan_demand_spec *spec, xb_fan_demand_state *state,
                          const xb_store *store, uint8_t ignition)
{
    int32_t wanted = 0;
    uint8_t compressor = xb_is_on(store, spec->compressor);

    /* FLOOR: while the compressor runs; wind of driving replaces it; a lost speed replaces
     * nothing */
    if (spec->road_speed != XB_NONE) {
        const xb_quantity_state *speed = &store->states[spec->road_speed];

        if (xb_usable(speed) == 0u || speed->value <= spec->restore_below) {
            state->dropped = 0u;
        } else if (speed->value >= spec->drop_above) {
            state->dropped = 1u;
        }
    }
    if (compressor != 0u && state->dropped == 0u) {
        wanted = spec->compressor_level;
    }

    /* PRESSURE: own hysteresis; lost while the compressor may run counts as high */
    for (uint32_t i = 0u; i < spec->pressure_count; i++) {
        const xb_fan_pressure_spec *pressure = &spec->pressures[i];
        const xb_quantity_state *source = &store->states[pressure->quantity];
        uint8_t bit = (uint8_t)(1u << i);
        uint8_t others = (uint8_t)(state->pressed & ~(uint32_t)bit);

        if (ignition == 0u) {
            state->pressed = others;
        } else if (xb_usable(source) == 0u) {
            uint8_t may_run = compressor != 0u || spec->compressor == XB_NONE;

            state->pressed = xb_lost(source) != 0u && may_run != 0u ? (uint8_t)(others | bit)
                                                                    : others;
        } else if (source->value >= pressure->on) {
            state->pressed = (uint8_t)(others | bit);
        } else if (source->value <= pressure->off) {
            state->pressed = others;
        }
        if ((state->pressed & bit) != 0u && pressure->level > wanted) {
            wanted = pressure->level;
        }
    }
    return wanted;
}

/* Return whether over-voltage stops the fans; the pairing says whether it beats loss. */
uint8_t xb_fan_demand_inhibited(const xb_fan_demand_spec *spec, xb_fan_demand_state *state,
                                const xb_store *store, uint8_t failsafe)
{
    if (spec->inhibit_supply != XB_NONE) {
        int32_t supply = store->states[spec->inhibit_supply].value;

        if (supply >= spec->inhibit_above) {
            state->inhibited = 1u;
        } else if (supply <= spec->inhibit_below) {
            state->inhibited = 0u;
        }
    }
    return state->inhibited != 0u && (spec->inhibit_on_loss != 0u || failsafe == 0u);
}

/* Return the level of the after-run; once ended it begins only after a new ignition on. */
int32_t xb_fan_demand_after_run(const xb_fan_demand_spec *spec, xb_fan_demand_state *state,
                                const xb_store *store, const xb_power_state *power,
                                const xb_quantity_state *coolant)
{
    uint8_t hot;
    uint8_t fed;

    if (xb_ignition_is_on(power) != 0u) {
        state->after_left = spec->after_run;
        state->after_running = 0u;
        return 0;
    }
    if (state->after_left == 0u) {
        return 0;
    }
    if (state->after_running != 0u) {
        hot = xb_usable(coolant) != 0u && coolant->value > spec->after_run_below;
    } else {
        hot = xb_usable(coolant) != 0u && coolant->value >= spec->after_run_above;
    }
    fed = store->states[spec->after_run_supply].value >= spec->after_run_least_mv;
    if (hot == 0u || fed == 0u || power->mode != (uint8_t)XB_AFTER_RUN) {
        state->after_left = 0u;
        state->after_running = 0u;
        return 0;
    }
    state->after_left -= 1u;
    state->after_running = 1u;
    return spec->after_run_level;
}
