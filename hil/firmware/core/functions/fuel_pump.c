/* Fuel pump: prime once per ignition cycle, run with rotation, off without, off on loss. */
#include "fuel_pump.h"

#include <stddef.h>

/* Return whether the pump runs after cranking, loss and crash have had their say. */
static uint8_t guarded(const xb_pump_guard_spec *spec, xb_pump_guard_state *guard,
                       const xb_fuel_pump_state *state, const xb_store *store,
                       const xb_power_state *power, uint8_t run)
{
    /* CRANKING: before rotation is seen */
    if (spec->runs_cranking != 0u && power->mode == (uint8_t)XB_CRANKING
        && state->failsafe == 0u) {
        run = 1u;
    }

    /* LOSS: a pump that fed a turning engine goes on for a while, as long as the enable is there */
    if (spec->loss_enable != XB_NONE) {
        if (state->failsafe == 0u) {
            guard->loss_left = state->run_left > 0u ? spec->loss_run : 0u;
        } else if (guard->loss_left > 0u && xb_is_on(store, spec->loss_enable) != 0u) {
            guard->loss_left -= 1u;
            run = 1u;
        } else {
            guard->loss_left = 0u;
        }
    }

    /* CRASH: latched until the next ignition cycle; loss of the crash signal is no crash */
    if (power->new_cycle != 0u) {
        guard->crashed = 0u;
    }
    if (xb_is_on(store, spec->crash) != 0u) {
        guard->crashed = 1u;
    }
    return run != 0u && guard->crashed == 0u;
}

/* Run one control tick. */
void xb_fuel_pump_step(const xb_fuel_pump_spec *spec, xb_fuel_pump_state *state,
                       xb_pump_guard_state *guard, xb_pump_command_state *command,
                       const xb_store *store, const xb_power_state *power)
{
    const xb_quantity_state *speed = &store->states[spec->engine_speed];
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t run;

    /* LOSS */
    state->failsafe = ignition != 0u && xb_lost(speed) != 0u;

    /* PRIME: once per ignition cycle */
    if (power->cycle != state->cycle) {
        state->cycle = power->cycle;
        state->primed = 0u;
    }
    if (state->prime_left > 0u) {
        state->prime_left -= 1u;
    }
    if (ignition != 0u && state->primed == 0u) {
        state->primed = 1u;
        state->prime_left = spec->prime;
    }

    /* ROTATION: on at once, off after the set time */
    if (state->run_left > 0u) {
        state->run_left -= 1u;
    }
    if (xb_usable(speed) != 0u && speed->value >= spec->rotation_above) {
        state->run_left = spec->off_delay + 1u;
    }

    /* SAFE STATE: nothing of the past survives ignition off or loss */
    if (ignition == 0u || state->failsafe != 0u) {
        state->prime_left = 0u;
        state->run_left = 0u;
    }

    /* OUTPUT */
    run = state->prime_left > 0u || state->run_left > 0u;
    if (spec->guard != NULL) {
        run = guarded(spec->guard, guard, state, store, power, run);
    }
    xb_publish(store, spec->output, run, (uint8_t)XB_VALID, 1u);
    if (spec->command != NULL) {
        uint8_t priming = state->prime_left > 0u && state->run_left == 0u
                          && power->mode != (uint8_t)XB_CRANKING;

        xb_pump_command_step(spec->command, command, store, ignition, run, priming);
    }
}
