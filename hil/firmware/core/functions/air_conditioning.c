/* Air conditioning: idle-up asked of the engine, then the clutch; off on loss of any permission. */
#include "air_conditioning.h"

#include "arithmetic.h"

/* Return whether data of an input that may be absent is lost. */
static uint8_t is_lost(const xb_store *store, int32_t index)
{
    return index != XB_NONE && xb_lost(&store->states[index]) != 0u;
}

/* Move every window; return the refusal of the first that is not given, else 0. */
static uint8_t follow_windows(const xb_air_conditioning_spec *spec,
                              xb_air_conditioning_state *state, const xb_store *store)
{
    uint8_t refusal = 0u;

    for (uint32_t i = spec->window_count; i > 0u; i--) {
        const xb_permission_window_spec *window = &spec->windows[i - 1u];
        const xb_quantity_state *source = &store->states[window->quantity];
        uint8_t bit = (uint8_t)(1u << (i - 1u));
        uint8_t given = (state->granted & bit) != 0u;
        int32_t low = given != 0u ? window->release_low : window->engage_low;
        int32_t high = given != 0u ? window->release_high : window->engage_high;

        if (xb_usable(source) != 0u && low <= source->value && source->value <= high) {
            state->granted = (uint8_t)(state->granted | bit);
        } else {
            state->granted = (uint8_t)(state->granted & ~(uint32_t)bit);
            refusal = window->refusal;
        }
    }
    return refusal;
}

/* Cut at full pedal, for at least the set time; without pedal data as well. */
static void follow_pedal(const xb_air_conditioning_spec *spec, xb_air_conditioning_state *state,
                         const xb_store *store)
{
    const xb_quantity_state *pedal;

    if (spec->pedal == XB_NONE) {
        return;
    }
    pedal = &store->states[spec->pedal];
    if (state->cut_left > 0u) {
        state->cut_left -= 1u;
    }
    if (xb_usable(pedal) == 0u) {
        state->cut = 1u;
    } else if (pedal->value >= spec->pedal_full) {
        if (state->cut == 0u) {
            state->cut_left = spec->pedal_cut;
        }
        state->cut = 1u;
    } else if (pedal->value <= spec->pedal_below && state->cut_left == 0u) {
        state->cut = 0u;
    }
}

/* Run one control tick. */
void xb_air_conditioning_step(const xb_air_conditioning_spec *spec,
                              xb_air_conditioning_state *state, const xb_store *store,
                              const xb_power_state *power)
{
    uint8_t missing;
    uint8_t refusal;
    uint8_t asked;
    uint8_t ready;
    uint8_t engaged;

    /* LOSS */
    missing = is_lost(store, spec->request) != 0u || is_lost(store, spec->permit) != 0u
              || is_lost(store, spec->pedal) != 0u;
    for (uint32_t i = 0u; i < spec->window_count; i++) {
        missing = missing != 0u || is_lost(store, spec->windows[i].quantity) != 0u;
    }
    state->failsafe = xb_ignition_is_on(power) != 0u && missing != 0u;

    /* PERMISSIONS: all are looked at, the first that fails is the refusal */
    refusal = follow_windows(spec, state, store);
    follow_pedal(spec, state, store);
    if (spec->pedal != XB_NONE && state->cut != 0u) {
        refusal = (uint8_t)XB_COOLING_FULL_PEDAL;
    }
    if (spec->permit != XB_NONE && xb_is_on(store, spec->permit) == 0u) {
        refusal = (uint8_t)XB_COOLING_NOT_PERMITTED;
    }
    state->running_for =
        power->mode == (uint8_t)XB_RUNNING ? xb_add_one(state->running_for) : 0u;
    if (state->running_for <= spec->running_for) {
        refusal = (uint8_t)XB_COOLING_NOT_RUNNING_LONG_ENOUGH;
    }

    /* REQUEST: idle-up while nothing refuses */
    if (xb_is_on(store, spec->request) == 0u) {
        refusal = (uint8_t)XB_COOLING_NO_REQUEST;
    }
    asked = refusal == (uint8_t)XB_COOLING_NONE;

    /* TIMERS: delay behind the idle-up, minimum time off */
    state->asked_for = asked != 0u ? xb_add_one(state->asked_for) : 0u;
    if (state->engaged == 0u) {
        state->since_off = xb_add_one(state->since_off);
    }
    ready = state->asked_for > spec->engage_delay && state->since_off >= spec->min_off;

    /* OUTPUTS */
    engaged = asked != 0u && (state->engaged != 0u || ready != 0u);
    if (state->engaged != 0u && engaged == 0u) {
        state->since_off = 0u;
    }
    state->engaged = engaged;
    if (asked != 0u && engaged == 0u) {
        refusal = (uint8_t)XB_COOLING_WAITING;
    }
    xb_publish(store, spec->idle_up, asked, (uint8_t)XB_VALID, 1u);
    xb_publish(store, spec->clutch, engaged, (uint8_t)XB_VALID, 1u);
    if (spec->refusal != XB_NONE) {
        xb_publish(store, spec->refusal, refusal, (uint8_t)XB_VALID, 1u);
    }
}
