/* Power modes from ignition, accessory, crank request and engine speed (rule 14). */
#include "power.h"

#include "arithmetic.h"

/* Return whether the mode is one of those with ignition on. */
uint8_t xb_ignition_is_on(const xb_power_state *state)
{
    return state->mode == (uint8_t)XB_IGNITION_ON || state->mode == (uint8_t)XB_CRANKING
           || state->mode == (uint8_t)XB_RUNNING;
}

/* Follow "engine running" with hysteresis; an unusable speed leaves it to its substitute. */
static void follow_rotation(const xb_power_spec *spec, xb_power_state *state,
                            const xb_store *store)
{
    const xb_quantity_state *speed;

    if (spec->engine_speed == XB_NONE) {
        return;
    }
    speed = &store->states[spec->engine_speed];
    if (speed->value >= spec->running_above && xb_usable(speed) != 0u) {
        state->running = 1u;
    } else if (speed->value < spec->running_below) {
        state->running = 0u;
    }
}

/* Return whether a quantity that may be absent is there and not 0. */
static uint8_t is_set(const xb_store *store, int32_t index)
{
    return index != XB_NONE && store->states[index].value != 0;
}

/* Judge what was taken up from kept memory; nothing of it counts unless the pairing keeps it.
 *
 * A module that was off without supply cannot know for how long: a power-on with ignition last
 * seen off ends the ignition cycle. Every other reset goes on counting where it was. */
void xb_power_recall(const xb_power_spec *spec, xb_power_state *state, uint8_t power_on)
{
    if (spec->kept == 0u) {
        state->off_time = 0u;
        state->cycle = 0u;
    } else if (power_on != 0u && state->off_time > 0u && state->off_time < spec->cycle_off) {
        state->off_time = spec->cycle_off;
    }
}

/* Run one control tick. */
void xb_power_step(const xb_power_spec *spec, xb_power_state *state, const xb_store *store)
{
    uint8_t ignition = store->states[spec->ignition].value != 0;

    follow_rotation(spec, state, store);
    state->new_cycle = 0u;
    if (ignition != 0u) {
        if (state->off_time >= spec->cycle_off) {
            state->cycle = (uint16_t)((state->cycle + 1u) & 0xFFFFu);
            state->new_cycle = 1u;
        }
        state->off_time = 0u;
        if (state->running != 0u) {
            state->mode = (uint8_t)XB_RUNNING;
        } else if (is_set(store, spec->crank) != 0u) {
            state->mode = (uint8_t)XB_CRANKING;
        } else {
            state->mode = (uint8_t)XB_IGNITION_ON;
        }
        return;
    }

    if (xb_ignition_is_on(state) != 0u) {
        state->off_time = 0u;
        state->mode = (uint8_t)XB_AFTER_RUN;
    }
    if (state->mode == (uint8_t)XB_AFTER_RUN && state->off_time < spec->after_run) {
        /* the after-run time goes on */
    } else if (is_set(store, spec->accessory) != 0u) {
        state->mode = (uint8_t)XB_ACCESSORY;
    } else {
        state->mode = (uint8_t)XB_OFF;
    }
    state->off_time = xb_add_one(state->off_time);
}
