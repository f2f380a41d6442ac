/* Starter: one press of the button cranks until the engine runs, within limits. */
#include "starter.h"

#include "arithmetic.h"

/* Return whether any input is lost. */
static uint8_t missing(const xb_starter_spec *spec, const xb_store *store)
{
    uint8_t found = xb_lost(&store->states[spec->button]) != 0u
                    || xb_lost(&store->states[spec->engine_speed]) != 0u;

    for (uint32_t i = 0u; i < spec->all_count; i++) {
        found = found != 0u || xb_lost(&store->states[spec->all_of[i]]) != 0u;
    }
    for (uint32_t i = 0u; i < spec->any_count; i++) {
        found = found != 0u || xb_lost(&store->states[spec->any_of[i]]) != 0u;
    }
    return found;
}

/* Return whether every interlock permits. */
static uint8_t interlocked(const xb_starter_spec *spec, const xb_store *store)
{
    uint8_t all = 1u;
    uint8_t any = spec->any_count == 0u;

    for (uint32_t i = 0u; i < spec->all_count; i++) {
        all = all != 0u && xb_is_on(store, spec->all_of[i]) != 0u;
    }
    for (uint32_t i = 0u; i < spec->any_count; i++) {
        any = any != 0u || xb_is_on(store, spec->any_of[i]) != 0u;
    }
    return all != 0u && any != 0u;
}

/* Return why a crank ends, or that it goes on. */
static uint8_t end_of(const xb_starter_spec *spec, const xb_starter_state *state,
                      const xb_quantity_state *speed, uint8_t permitted)
{
    if (permitted == 0u) {
        return (uint8_t)XB_STARTER_PERMISSION_WITHDRAWN;
    }
    if (xb_usable(speed) == 0u) {
        return (uint8_t)XB_STARTER_SPEED_LOST;
    }
    if (speed->value >= spec->release_above) {
        return (uint8_t)XB_STARTER_STARTED;
    }
    if (state->crank_time >= spec->max_crank) {
        return (uint8_t)XB_STARTER_LIMIT_REACHED;
    }
    return (uint8_t)XB_STARTER_CRANKING;
}

/* Run one control tick. */
void xb_starter_step(const xb_starter_spec *spec, xb_starter_state *state, const xb_store *store,
                     const xb_power_state *power)
{
    const xb_quantity_state *speed = &store->states[spec->engine_speed];
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t permitted;
    uint8_t pressed;
    uint8_t edge;

    /* LOSS */
    state->failsafe = ignition != 0u && missing(spec, store) != 0u;

    /* PERMISSIONS */
    permitted = ignition != 0u && interlocked(spec, store) != 0u;

    /* REQUEST: the edge of a button that was seen released */
    pressed = xb_is_on(store, spec->button);
    edge = pressed != 0u && state->armed != 0u;
    state->armed = xb_usable(&store->states[spec->button]) != 0u && pressed == 0u;

    /* TIMERS */
    if (state->rest_left > 0u) {
        state->rest_left -= 1u;
    }
    if (state->cranking != 0u) {
        state->crank_time = xb_add_one(state->crank_time);
    }

    /* OUTPUTS: stop by the first reason that applies, or start */
    if (state->cranking != 0u) {
        state->outcome = end_of(spec, state, speed,
                                permitted != 0u && (pressed != 0u || spec->while_pressed == 0u));
        if (state->outcome != (uint8_t)XB_STARTER_CRANKING) {
            state->cranking = 0u;
            state->rest_left = state->outcome == (uint8_t)XB_STARTER_LIMIT_REACHED
                                   ? spec->limit_rest
                                   : spec->rest;
        }
    } else if (edge != 0u) {
        if (permitted == 0u) {
            state->outcome = (uint8_t)XB_STARTER_REFUSED_NO_PERMISSION;
        } else if (xb_usable(speed) == 0u || speed->value >= spec->turning_above) {
            state->outcome = (uint8_t)XB_STARTER_REFUSED_TURNING;
        } else if (state->rest_left > 0u) {
            state->outcome = (uint8_t)XB_STARTER_REFUSED_RESTING;
        } else {
            state->outcome = (uint8_t)XB_STARTER_CRANKING;
            state->cranking = 1u;
            state->crank_time = 0u;
        }
    }
    xb_publish(store, spec->output, state->cranking, (uint8_t)XB_VALID, 1u);
    if (spec->outcome != XB_NONE) {
        xb_publish(store, spec->outcome, state->outcome, (uint8_t)XB_VALID, 1u);
    }
}
