/* Power modes from ignition, accessory, crank request and engine speed (rule 14). */
#include "power.h"

#include "arithmetic.h"

/* Return whether the module keeps its own supply on. */
uint8_t xb_holds_power(const xb_power_state *state)
{
    return state->mode != (uint8_t)XB_OFF && state->mode != (uint8_t)XB_ASLEEP;
}

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
 * seen off ends the ignition cycle. Every other reset goes on counting where it was, and holds the
 * power as in the after-run, since the ignition has to be debounced before it is known again. */
void xb_power_recall(const xb_power_spec *spec, xb_power_state *state, uint8_t power_on)
{
    uint8_t held = xb_holds_power(state) != 0u && state->mode != (uint8_t)XB_ACCESSORY;

    state->mode = (uint8_t)XB_OFF;
    if (spec->kept == 0u) {
        state->off_time = 0u;
        state->cycle = 0u;
    } else if (power_on == 0u) {
        state->mode = (uint8_t)(held != 0u ? XB_AFTER_RUN : XB_OFF);
    } else if (state->off_time > 0u && state->off_time < spec->cycle_off) {
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

/* Return whether one of the waking quantities is not 0. */
static uint8_t any_set(const xb_sleep_spec *spec, const xb_store *store)
{
    for (uint32_t i = 0u; i < spec->wake_count; i++) {
        if (store->states[spec->wake[i]].value != 0) {
            return 1u;
        }
    }
    return 0u;
}

/* Decide on sleep, after xb_power_step of the same control tick; `heard` has one bit a bus. */
void xb_sleep_or_wake(const xb_sleep_spec *spec, xb_sleep_state *state, xb_power_state *power,
                      uint8_t was_asleep, uint8_t heard, const xb_store *store)
{
    uint8_t pressed = any_set(spec, store);
    uint8_t edge = pressed != 0u && state->pressed == 0u;
    uint8_t waking = (uint8_t)(heard & spec->wake_buses);

    state->pressed = pressed;
    state->silent = (heard != 0u || edge != 0u) ? 0u : xb_add_one(state->silent);

    /* AWAKE BY THE DRIVER */
    if (power->mode != (uint8_t)XB_OFF) {
        state->off = 0u;
        state->quiet = 0u;
        if (was_asleep != 0u) {
            state->woken = (uint8_t)XB_WOKEN_BY_PIN;
        }
        return;
    }

    /* WAKE by a pin or a bus, else sleep on */
    if (was_asleep != 0u) {
        if (edge == 0u && waking == 0u) {
            power->mode = (uint8_t)XB_ASLEEP;
            return;
        }
        if (edge != 0u) {
            state->woken = (uint8_t)XB_WOKEN_BY_PIN;
        } else {
            state->woken = (uint8_t)(XB_WOKEN_BY_BUS + ((waking & 1u) != 0u ? 0u : 1u));
        }
        state->silent = 0u;
        state->off = 0u;
    }

    /* QUIET, SLEEP */
    state->off = xb_add_one(state->off);
    state->quiet = state->off > spec->quiet_after;
    if (state->silent >= spec->after) {
        power->mode = (uint8_t)XB_ASLEEP;
        state->quiet = 1u;
    }
}
