/* Cruise buttons: one code of a resistor ladder or of the bus, single contacts, or both. */
#include "cruise_buttons.h"

#include "arithmetic.h"

/* Take one button into what is seen: cancel before all, none when two others are pressed. */
static void join(uint8_t *found, uint8_t *both, uint8_t button)
{
    if (button == (uint8_t)XB_BUTTON_NONE || *found == (uint8_t)XB_BUTTON_CANCEL) {
        return;
    }
    if (button != (uint8_t)XB_BUTTON_CANCEL && *found != (uint8_t)XB_BUTTON_NONE &&
        *found != button) {
        *both = 1u;
    }
    *found = button;
}

/* Return the button seen now: cancel before all, none when two others are pressed. */
static uint8_t seen_now(const xb_cruise_buttons_spec *spec, const xb_store *store)
{
    uint8_t found = (uint8_t)XB_BUTTON_NONE;
    uint8_t both = 0u;

    for (uint32_t i = 0u; i < spec->contact_count; i++) {
        if (store->states[spec->contacts[i].given].value != 0) {
            join(&found, &both, spec->contacts[i].button);
        }
    }
    if (spec->code != XB_NONE && xb_usable(&store->states[spec->code]) != 0u) {
        int32_t value = store->states[spec->code].value;

        for (uint32_t i = 0u; i < spec->code_count; i++) {
            if (spec->codes[i].given == value) {
                join(&found, &both, spec->codes[i].button);
            }
        }
    }
    if (found == (uint8_t)XB_BUTTON_CANCEL) {
        return found;
    }
    return both != 0u ? (uint8_t)XB_BUTTON_NONE : found;
}

/* Debounce the button seen; return the one that was pressed in this tick, or none. */
static uint8_t follow(const xb_cruise_buttons_spec *spec, xb_cruise_buttons_state *state,
                      uint8_t seen, uint8_t ignition)
{
    uint8_t event = (uint8_t)XB_BUTTON_NONE;
    uint8_t settled;

    if (seen != state->candidate) {
        state->candidate = seen;
        state->stable = 0u;
    } else {
        state->stable = xb_add_one(state->stable);
    }
    settled = state->stable >= spec->debounce;
    if (settled != 0u && state->candidate != state->button) {
        state->button = state->candidate;
        state->held = 0u;
        event = state->ignored != 0u ? (uint8_t)XB_BUTTON_NONE : state->button;
    } else {
        state->held = xb_add_one(state->held);
    }
    if (settled != 0u && state->button == (uint8_t)XB_BUTTON_NONE) {
        state->ignored = 0u;
    } else if (state->button != (uint8_t)XB_BUTTON_NONE && state->held >= spec->stuck) {
        state->ignored = 1u;
    }
    if (ignition == 0u) {
        state->ignored = 1u;
    }
    return event;
}

/* Return whether something cancels: data that are not there, the speed, or a quantity. */
static uint8_t is_cancelled(const xb_cruise_buttons_spec *spec, const xb_store *store,
                            uint8_t whole)
{
    int32_t speed = store->states[spec->speed].value;

    if (whole == 0u || speed < spec->speed_low || speed > spec->speed_high) {
        return 1u;
    }
    for (uint32_t i = 0u; i < spec->cancel_count; i++) {
        if (store->states[spec->cancels[i]].value != 0) {
            return 1u;
        }
    }
    return 0u;
}

/* Fall back to standby when the engine controller denies being active for the set time. */
static void confirm(const xb_cruise_buttons_spec *spec, xb_cruise_buttons_state *state,
                    const xb_store *store)
{
    const xb_quantity_state *feedback;

    if (spec->feedback == XB_NONE || state->active == 0u) {
        state->refused = 0u;
        return;
    }
    feedback = &store->states[spec->feedback];
    if (feedback->value != 0 || xb_usable(feedback) == 0u) {
        state->refused = 0u;
        return;
    }
    if (state->refused >= spec->feedback_after) {
        state->active = 0u;
        state->refused = 0u;
    } else {
        state->refused = xb_add_one(state->refused);
    }
}

/* Run one control tick. */
void xb_cruise_buttons_step(const xb_cruise_buttons_spec *spec, xb_cruise_buttons_state *state,
                            const xb_store *store, const xb_power_state *power)
{
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t lost = 0u;
    uint8_t whole = 1u;
    uint8_t event;
    uint8_t pressed;
    uint8_t cancelled;
    uint8_t request = (uint8_t)XB_BUTTON_NONE;

    /* LOSS */
    for (uint32_t i = 0u; i < spec->needed_count; i++) {
        const xb_quantity_state *one = &store->states[spec->needed[i]];

        if (xb_lost(one) != 0u) {
            lost = 1u;
        }
        if (xb_usable(one) == 0u) {
            whole = 0u;
        }
    }
    state->failsafe = ignition != 0u && lost != 0u;

    /* BUTTON: debounced, and ignored while stuck */
    event = follow(spec, state, seen_now(spec, store), ignition);
    pressed = (uint8_t)XB_BUTTON_NONE;
    if (state->ignored == 0u || state->button == (uint8_t)XB_BUTTON_CANCEL) {
        pressed = state->button;
    }

    /* PERMISSIONS: cancel dominates */
    cancelled =
        pressed == (uint8_t)XB_BUTTON_CANCEL || is_cancelled(spec, store, whole) != 0u;

    /* STATE: off, standby, active */
    if (ignition == 0u) {
        state->on = 0u;
    } else if (event == (uint8_t)XB_BUTTON_ON_OFF) {
        state->on = state->on == 0u;
    }
    if (state->on == 0u || event == (uint8_t)XB_BUTTON_ON_OFF) {
        state->stored = 0u;
    }
    if (state->on == 0u || cancelled != 0u || event == (uint8_t)XB_BUTTON_ON_OFF) {
        state->active = 0u;
    } else if (event == (uint8_t)XB_BUTTON_SET) {
        state->active = 1u;
        state->stored = 1u;
    } else if (event == (uint8_t)XB_BUTTON_RESUME && state->stored != 0u) {
        state->active = 1u;
    }
    confirm(spec, state, store);

    /* OUTPUT */
    if (state->on != 0u && cancelled != 0u) {
        request = (uint8_t)XB_BUTTON_CANCEL;
    } else if (state->active != 0u && (pressed == (uint8_t)XB_BUTTON_SET ||
                                       pressed == (uint8_t)XB_BUTTON_RESUME)) {
        request = pressed;
    }
    xb_publish(store, spec->request, request, (uint8_t)XB_VALID, 1u);
    if (spec->status_output != XB_NONE) {
        xb_cruise_status status = state->on != 0u ? XB_CRUISE_STANDBY : XB_CRUISE_OFF;

        if (state->active != 0u) {
            status = XB_CRUISE_ACTIVE;
        }
        xb_publish(store, spec->status_output, (int32_t)status, (uint8_t)XB_VALID, 1u);
    }
}
