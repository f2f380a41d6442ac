/* Accelerator pedal: two tracks to one request, limp on one track, brake override. */
#include "accelerator_pedal.h"

/* Follow the distance of two good tracks. */
static void compare(const xb_accelerator_pedal_spec *spec, xb_accelerator_pedal_state *state,
                    int32_t first, int32_t second)
{
    int64_t distance = first < second ? (int64_t)second - first : (int64_t)first - second;

    if (distance > xb_interpolate(&spec->tolerance, first)) {
        state->agrees = 0u;
        if (state->differs >= spec->disagreement) {
            state->apart = 1u;
        }
        state->differs = xb_add_one(state->differs);
    } else {
        state->differs = 0u;
        if (state->agrees >= spec->agreement) {
            state->apart = 0u;
        }
        state->agrees = xb_add_one(state->agrees);
    }
}

/* Return whether the brake counts as pressed. */
static uint8_t brake_pressed(const xb_accelerator_pedal_spec *spec, const xb_store *store)
{
    const xb_quantity_state *brake;

    if (spec->brake == XB_NONE) {
        return 0u;
    }
    brake = &store->states[spec->brake];
    return xb_lost(brake) != 0u ? spec->brake_lost_pressed : brake->value != 0;
}

/* Follow brake and pedal pressed together; the pedal alone ends the override. */
static void follow_override(const xb_accelerator_pedal_spec *spec,
                            xb_accelerator_pedal_state *state, uint8_t pressed, int32_t pedal)
{
    if (pedal < spec->override_below) {
        state->overridden = 0u;
    }
    if (pressed != 0u && pedal > spec->override_above) {
        if (state->both >= spec->override_after) {
            state->overridden = 1u;
        }
        state->both = xb_add_one(state->both);
    } else {
        state->both = 0u;
    }
}

/* Run one control tick. */
void xb_accelerator_pedal_step(const xb_accelerator_pedal_spec *spec,
                               xb_accelerator_pedal_state *state, const xb_store *store,
                               const xb_power_state *power)
{
    const xb_quantity_state *first = &store->states[spec->track_1];
    const xb_quantity_state *second = &store->states[spec->track_2];
    uint8_t good_1 = xb_usable(first);
    uint8_t good_2 = xb_usable(second);
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t status = first->status > second->status ? first->status : second->status;
    uint8_t real = good_1 != 0u || good_2 != 0u;
    uint8_t pressed;
    xb_pedal_mode mode = XB_PEDAL_NORMAL;
    int32_t pedal = 0;
    int32_t limit = INT32_MAX;
    int64_t request;

    /* LOSS: a track, or the two too far apart for the set time */
    if (ignition == 0u) {
        state->differs = 0u;
        state->agrees = 0u;
        state->apart = 0u;
    } else if (good_1 != 0u && good_2 != 0u) {
        compare(spec, state, first->value, second->value);
    }
    state->failsafe =
        ignition != 0u && (xb_lost(first) != 0u || xb_lost(second) != 0u || state->apart != 0u);

    /* REQUEST: the lower one of the good tracks, up to the limit */
    if (good_1 != 0u && good_2 != 0u) {
        pedal = first->value < second->value ? first->value : second->value;
    } else if (real != 0u) {
        const xb_quantity_state *good = good_1 != 0u ? first : second;

        pedal = good->value;
        status = good->status;
    }
    pedal = pedal > 0 ? pedal : 0;
    if (ignition == 0u) {
        mode = XB_PEDAL_OFF;
        limit = 0;
    } else if (real == 0u) {
        mode = XB_PEDAL_LOST;
    } else if (state->apart != 0u) {
        mode = XB_PEDAL_DISAGREEMENT;
        status = status > (uint8_t)XB_IMPLAUSIBLE ? status : (uint8_t)XB_IMPLAUSIBLE;
        real = spec->lower_when_apart;
        limit = spec->lower_when_apart != 0u ? spec->limp_limit : 0;
    } else if (good_1 == 0u || good_2 == 0u) {
        mode = XB_PEDAL_LIMP;
        limit = spec->limp_limit;
    }

    /* BRAKE: it overrides the pedal, and releases the limp */
    pressed = ignition != 0u && brake_pressed(spec, store) != 0u;
    follow_override(spec, state, pressed, pedal);
    if (state->overridden != 0u ||
        (pressed != 0u && spec->brake_releases_limp != 0u && mode != XB_PEDAL_NORMAL)) {
        limit = 0;
    }
    if (state->overridden != 0u && mode == XB_PEDAL_NORMAL) {
        mode = XB_PEDAL_OVERRIDDEN;
    }

    /* RISE: slow from limp or loss on until the pedal is caught up with; a fall is never limited */
    if (mode != XB_PEDAL_NORMAL && mode != XB_PEDAL_OVERRIDDEN) {
        state->slow = 1u;
    }
    request = pedal < limit ? pedal : limit;
    if (state->slow == 0u || request <= state->output) {
        state->remainder = 0u;
    } else {
        uint32_t rise = xb_rate_step(&state->remainder, spec->rise, spec->elapsed_ms);
        int64_t reached = (int64_t)state->output + rise;

        request = request < reached ? request : reached;
    }
    if (mode == XB_PEDAL_NORMAL && request == pedal) {
        state->slow = 0u;
    }
    state->output = (int32_t)request;

    /* OUTPUT: the value for the bus, and the tracks */
    xb_publish(store, spec->output, state->output, status, real);
    for (uint32_t i = 0u; i < spec->track_count; i++) {
        xb_publish(store, spec->tracks[i].output,
                   xb_interpolate(&spec->tracks[i].curve, state->output), (uint8_t)XB_VALID, 1u);
    }
    if (spec->mode_output != XB_NONE) {
        xb_publish(store, spec->mode_output, (int32_t)mode, (uint8_t)XB_VALID, 1u);
    }
}
