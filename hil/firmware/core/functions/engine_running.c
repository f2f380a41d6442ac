/* Engine running, told to power steering, alternator and body, each with its own timing. */
#include "engine_running.h"

#include "arithmetic.h"

/* Run one control tick. */
void xb_engine_running_step(const xb_engine_running_spec *spec, xb_engine_running_state *state,
                            xb_listener_state *listeners, const xb_store *store,
                            const xb_power_state *power)
{
    const xb_quantity_state *speed = &store->states[spec->engine_speed];
    uint8_t ignition = xb_ignition_is_on(power);

    /* LOSS */
    state->failsafe = ignition != 0u && xb_lost(speed) != 0u;

    /* TURNING: hysteresis; never without ignition, nor before the first speed */
    if (ignition == 0u || xb_usable(speed) == 0u || speed->value < spec->running_below) {
        state->turning = 0u;
    } else if (speed->value >= spec->running_above) {
        state->turning = 1u;
    }

    /* OUTPUTS: each with its delays; on loss at once */
    for (uint32_t i = 0u; i < spec->listener_count; i++) {
        const xb_listener_spec *listener = &spec->listeners[i];
        xb_listener_state *told = &listeners[i];
        uint32_t delay = state->turning != 0u ? listener->on_delay : listener->off_delay;

        if (state->failsafe != 0u) {
            told->differs = 0u;
            if (listener->on_loss != (uint8_t)XB_TOLD_LAST) {
                told->told = listener->on_loss != (uint8_t)XB_TOLD_NOT_RUNNING;
            }
        } else if (told->told == state->turning) {
            told->differs = 0u;
        } else if (told->differs >= delay) {
            told->told = state->turning;
            told->differs = 0u;
        } else {
            told->differs = xb_add_one(told->differs);
        }
        xb_publish(store, listener->output, told->told, (uint8_t)XB_VALID, 1u);
    }
}
