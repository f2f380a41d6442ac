/* Fuel pump relay: prime once per ignition cycle, run with rotation, off without, off on loss. */
#include "fuel_pump.h"

/* Run one control tick. */
void xb_fuel_pump_step(const xb_fuel_pump_spec *spec, xb_fuel_pump_state *state,
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
    xb_publish(store, spec->output, run, (uint8_t)XB_VALID, 1u);
}
