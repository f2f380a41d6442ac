/* Mode selector: short, long and held presses of up to eight buttons and their combinations. */
#include "mode_selector.h"

#include "arithmetic.h"

/* Return whether the mode may change now; lost data forbid it. */
static uint8_t permitted(const xb_mode_selector_spec *spec, const xb_store *store)
{
    const xb_quantity_state *permit;

    if (spec->permit == XB_NONE) {
        return 1u;
    }
    permit = &store->states[spec->permit];
    return xb_usable(permit) != 0u && permit->value != 0;
}

/* Return the number of the action for these buttons pressed like this, or XB_NONE. */
static int32_t find(const xb_mode_selector_spec *spec, uint8_t buttons, xb_press press)
{
    for (uint32_t i = 0u; i < spec->action_count; i++) {
        if (spec->actions[i].buttons == buttons && spec->actions[i].press == (uint8_t)press) {
            return (int32_t)i;
        }
    }
    return XB_NONE;
}

/* Change the latched mode as the action of the finished or held press says. */
static void act(const xb_mode_selector_spec *spec, xb_mode_selector_state *state,
                const xb_store *store, xb_press press)
{
    int32_t number = find(spec, state->pressed, press);
    const xb_mode_action_spec *action;

    if (number == XB_NONE || permitted(spec, store) == 0u) {
        return;
    }
    action = &spec->actions[number];
    if (action->effect == (uint8_t)XB_EFFECT_NEXT) {
        state->mode = state->mode >= spec->highest ? spec->lowest : state->mode + 1;
    } else if (action->effect == (uint8_t)XB_EFFECT_PREVIOUS) {
        state->mode = state->mode <= spec->lowest ? spec->highest : state->mode - 1;
    } else {
        state->mode = action->mode;
    }
}

/* Follow buttons that are down; a held press acts. */
static void hold(const xb_mode_selector_spec *spec, xb_mode_selector_state *state,
                 const xb_store *store, uint8_t down)
{
    if ((state->pressed | down) != state->pressed) {
        state->pressed = (uint8_t)(state->pressed | down);
        state->time = 0u;
    } else {
        state->time = xb_add_one(state->time);
    }
    if (state->time >= spec->stuck) {
        state->ignored = 1u;
    }
    if (state->ignored != 0u || state->done != 0u || state->time < spec->held) {
        return;
    }
    if (find(spec, state->pressed, XB_PRESS_HELD) != XB_NONE) {
        state->done = 1u;
        act(spec, state, store, XB_PRESS_HELD);
    }
}

/* Run one control tick. */
void xb_mode_selector_step(const xb_mode_selector_spec *spec, xb_mode_selector_state *state,
                           const xb_store *store, const xb_power_state *power)
{
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t lost = 0u;
    uint8_t whole = 1u;
    uint8_t down = 0u;
    int32_t mode;

    if (state->started == 0u || (spec->every_cycle != 0u && power->new_cycle != 0u)) {
        state->started = 1u;
        state->mode = spec->start;
    }

    /* LOSS */
    for (uint32_t i = 0u; i < spec->button_count; i++) {
        const xb_quantity_state *button = &store->states[spec->buttons[i]];

        if (xb_lost(button) != 0u) {
            lost = 1u;
        }
        if (xb_usable(button) == 0u) {
            whole = 0u;
        }
        if (button->value != 0) {
            down = (uint8_t)(down | (1u << i));
        }
    }
    for (uint32_t i = 0u; i < spec->switch_count; i++) {
        if (xb_lost(&store->states[spec->switches[i].quantity]) != 0u) {
            lost = 1u;
        }
    }
    state->failsafe = ignition != 0u && lost != 0u;

    /* BUTTONS: the press that is going on */
    if (ignition == 0u || whole == 0u) {
        state->pressed = 0u;
        state->time = 0u;
        state->done = 0u;
        state->ignored = 1u;
    } else if (down == 0u) {
        if (state->pressed != 0u && state->ignored == 0u && state->done == 0u) {
            act(spec, state, store,
                xb_add_one(state->time) >= spec->long_ ? XB_PRESS_LONG : XB_PRESS_SHORT);
        }
        state->pressed = 0u;
        state->time = 0u;
        state->done = 0u;
        state->ignored = 0u;
    } else {
        hold(spec, state, store, down);
    }

    /* SAFE STATE */
    if (state->failsafe != 0u && spec->keep_on_loss == 0u) {
        state->mode = spec->on_loss;
    }

    /* SWITCHES: the first that is on */
    mode = state->mode;
    for (uint32_t i = spec->switch_count; i > 0u; i--) {
        const xb_mode_switch_spec *one = &spec->switches[i - 1u];

        if (store->states[one->quantity].value != 0 &&
            xb_usable(&store->states[one->quantity]) != 0u) {
            mode = one->mode;
        }
    }

    /* OUTPUT: the mode, and what the cluster shows */
    xb_publish(store, spec->output, mode, (uint8_t)XB_VALID, 1u);
    if (spec->shown != XB_NONE) {
        int32_t shown = mode;

        if (spec->feedback != XB_NONE) {
            const xb_quantity_state *feedback = &store->states[spec->feedback];

            shown = xb_usable(feedback) != 0u ? feedback->value : spec->unconfirmed;
        }
        xb_publish(store, spec->shown, shown, (uint8_t)XB_VALID, 1u);
    }
}
