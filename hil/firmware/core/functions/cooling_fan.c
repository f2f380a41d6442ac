/* Cooling fan: any number of relay stages on coolant temperature; the highest request wins. */
#include "cooling_fan.h"

#include <stddef.h>

#include "arithmetic.h"
#include "unrolling.h"

/* Move a stage's hysteresis. */
static void follow(const xb_fan_stage_spec *spec, xb_fan_stage_state *state, uint8_t ignition,
                   const xb_quantity_state *coolant)
{
    if (ignition == 0u || xb_usable(coolant) == 0u) {
        state->hot = 0u;
    } else if (coolant->value >= spec->on) {
        state->hot = 1u;
    } else if (coolant->value <= spec->off) {
        state->hot = 0u;
    }
}

/* Run one control tick. */
XB_INSIDE
void xb_cooling_fan_step(const xb_cooling_fan_spec *spec, xb_cooling_fan_state *state,
                         xb_fan_stage_state *stages, xb_fan_demand_state *demand,
                         const xb_store *store, const xb_power_state *power)
{
    const xb_quantity_state *coolant = &store->states[spec->coolant];
    uint8_t ignition = xb_ignition_is_on(power);
    uint32_t wanted = 0u;
    uint8_t is_forced = 0u;
    uint32_t forced = 0u;
    uint32_t after_run = 0u;
    uint8_t inhibited = 0u;
    uint32_t delay = 0u;
    uint32_t since_start = UINT32_MAX;

    /* LOSS */
    state->failsafe = ignition != 0u && xb_lost(coolant) != 0u;

    /* REQUESTS: each stage's hysteresis, then the others; the highest wins */
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->stage_count; i++) {
        follow(&spec->stages[i], &stages[i], ignition, coolant);
        if (stages[i].hot != 0u) {
            wanted = i + 1u;
        }
    }
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->request_count; i++) {
        const xb_quantity_state *other = &store->states[spec->requests[i].quantity];

        if (other->value != 0 && xb_usable(other) != 0u && spec->requests[i].stage > wanted) {
            wanted = spec->requests[i].stage;
        }
    }
    if (spec->demand != NULL) {
        uint32_t asked = (uint32_t)xb_fan_demand_ask(spec->demand, demand, store, ignition);

        wanted = asked > wanted ? asked : wanted;
        after_run =
            (uint32_t)xb_fan_demand_after_run(spec->demand, demand, store, power, coolant);
        inhibited = xb_fan_demand_inhibited(spec->demand, demand, store, state->failsafe);
        delay = spec->demand->stage_delay;
        since_start = xb_add_one(demand->since_start);
    }

    /* SAFE STATE: at once, past the minimum times */
    if (ignition == 0u || inhibited != 0u || power->mode == (uint8_t)XB_CRANKING) {
        wanted = inhibited != 0u || ignition != 0u ? 0u : after_run;
        forced = wanted;
        is_forced = 1u;
    } else if (state->failsafe != 0u) {
        wanted = spec->on_loss_stage > wanted ? spec->on_loss_stage : wanted;
        forced = spec->on_loss_stage;
        is_forced = 1u;
    }

    /* OUTPUT: minimum on and off times, delay between starts */
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->stage_count; i++) {
        uint8_t run = i + 1u <= wanted;

        stages[i].since = xb_add_one(stages[i].since);
        if (run != stages[i].running) {
            uint32_t dwell = run != 0u ? spec->min_off : spec->min_on;
            uint8_t at_once = is_forced != 0u && (run == 0u || i + 1u <= forced);

            if ((at_once != 0u || stages[i].since >= dwell)
                && (run == 0u || since_start >= delay)) {
                stages[i].running = run;
                stages[i].since = 0u;
                since_start = run != 0u ? 0u : since_start;
            }
        }
        xb_publish(store, spec->stages[i].output, stages[i].running, (uint8_t)XB_VALID, 1u);
    }
    if (spec->demand != NULL) {
        demand->since_start = since_start;
    }
}
