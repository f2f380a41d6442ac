/* Cooling fan driven by a duty: curve on coolant temperature, soft start, slew, lowest duty. */
#include "cooling_fan_duty.h"

/* Return the larger of two duties. */
static int32_t larger(int32_t left, int32_t right)
{
    return left > right ? left : right;
}

/* Return the duty asked for by the curve and the others; the highest wins. */
static int32_t requested(const xb_cooling_fan_duty_spec *spec, xb_fan_demand_state *demand,
                         const xb_store *store, uint8_t ignition)
{
    const xb_quantity_state *coolant = &store->states[spec->coolant];
    int32_t wanted = 0;

    if (ignition != 0u && xb_usable(coolant) != 0u) {
        wanted = xb_interpolate(&spec->curve, coolant->value);
    }
    for (uint32_t i = 0u; i < spec->request_count; i++) {
        if (xb_is_on(store, spec->requests[i].quantity) != 0u) {
            wanted = larger(wanted, (int32_t)spec->requests[i].stage);
        }
    }
    if (spec->follow != XB_NONE && xb_usable(&store->states[spec->follow]) != 0u) {
        int32_t followed = store->states[spec->follow].value;

        wanted = larger(wanted, followed < spec->full ? followed : spec->full);
    }
    return larger(wanted, xb_fan_demand_ask(spec->demand, demand, store, ignition));
}

/* Move the duty: soft start, then the slew. */
static void move(const xb_cooling_fan_duty_spec *spec, xb_cooling_fan_duty_state *state,
                 int32_t wanted, uint8_t started)
{
    int32_t target = larger(wanted, spec->minimum);
    uint32_t rate;

    if (started != 0u) {
        state->duty = spec->minimum;
        state->remainder = 0u;
        state->soft_left = spec->soft_start;
    } else if (state->soft_left > 0u) {
        state->soft_left -= 1u;
    }
    if (state->running == 0u) {
        state->duty = 0;
        state->soft_left = 0u;
    } else if (state->soft_left == 0u) {
        rate = target > state->duty ? spec->rise : spec->fall;
        if (rate == 0u || target == state->duty) {
            state->duty = target;
            state->remainder = 0u;
        } else {
            uint32_t moved = xb_rate_step(&state->remainder, rate, spec->control_ms);

            state->duty = (int32_t)xb_approach(state->duty, target, moved);
        }
    }
}

/* Run one control tick. */
void xb_cooling_fan_duty_step(const xb_cooling_fan_duty_spec *spec,
                              xb_cooling_fan_duty_state *state, xb_fan_demand_state *demand,
                              const xb_store *store, const xb_power_state *power)
{
    const xb_quantity_state *coolant = &store->states[spec->coolant];
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t at_once = 1u;
    uint8_t started = 0u;
    int32_t wanted;
    int32_t after_run;
    uint8_t inhibited;
    uint8_t run;

    /* LOSS */
    state->failsafe = ignition != 0u && xb_lost(coolant) != 0u;

    /* REQUESTS: the curve, then the others; the highest wins */
    wanted = requested(spec, demand, store, ignition);
    after_run = xb_fan_demand_after_run(spec->demand, demand, store, power, coolant);
    inhibited = xb_fan_demand_inhibited(spec->demand, demand, store, state->failsafe);

    /* SAFE STATE: at once, past the minimum times */
    if (ignition == 0u || inhibited != 0u || power->mode == (uint8_t)XB_CRANKING) {
        wanted = inhibited != 0u || ignition != 0u ? 0 : after_run;
    } else if (state->failsafe != 0u) {
        wanted = larger(wanted, spec->on_loss);
    } else {
        at_once = 0u;
    }

    /* RUN: minimum on and off times */
    state->since = xb_add_one(state->since);
    run = state->running != 0u ? wanted > 0 : wanted >= spec->minimum && wanted > 0;
    if (run != state->running
        && (at_once != 0u || state->since >= (run != 0u ? spec->min_off : spec->min_on))) {
        state->running = run;
        started = run;
        state->since = 0u;
    }

    /* DUTY: soft start, then the slew */
    move(spec, state, wanted, started);

    /* OUTPUT */
    xb_publish(store, spec->output,
               spec->inverted != 0u ? spec->full - state->duty : state->duty, (uint8_t)XB_VALID,
               1u);
}
