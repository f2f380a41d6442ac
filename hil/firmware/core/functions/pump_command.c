/* Duty command to a fuel-pump driver: levels by demand, own command for off, and its answer. */
#include "pump_command.h"

#include "arithmetic.h"

/* Publish the command for this control tick and judge the driver's answer. */
void xb_pump_command_step(const xb_pump_command_spec *spec, xb_pump_command_state *state,
                          const xb_store *store, uint8_t ignition, uint8_t run, uint8_t priming)
{
    const xb_quantity_state *demand = &store->states[spec->demand];
    const xb_quantity_state *answer;
    int32_t command;
    uint8_t good;

    /* LEVEL: with hysteresis; without demand data the highest */
    if (xb_usable(demand) == 0u) {
        state->level = (uint8_t)spec->level_count;
    } else {
        while (state->level > 0u && demand->value < spec->levels[state->level - 1u].leave_below) {
            state->level = (uint8_t)(state->level - 1u);
        }
        while (state->level < spec->level_count
               && demand->value >= spec->levels[state->level].above) {
            state->level = (uint8_t)(state->level + 1u);
        }
    }

    /* COMMAND */
    if (run == 0u) {
        command = spec->off;
    } else if (priming != 0u) {
        command = spec->prime;
    } else {
        command = state->level != 0u ? spec->levels[state->level - 1u].command : spec->base;
    }
    xb_publish(store, spec->output, command, (uint8_t)XB_VALID, 1u);

    /* ANSWER */
    if (spec->answer == XB_NONE) {
        return;
    }
    answer = &store->states[spec->answer];
    good = xb_usable(answer) != 0u && spec->answer_low <= answer->value
           && answer->value <= spec->answer_high;
    if (good != 0u || ignition == 0u || (xb_usable(answer) == 0u && xb_lost(answer) == 0u)) {
        state->bad_for = 0u;
    } else {
        state->bad_for = xb_add_one(state->bad_for);
    }
    xb_publish(store, spec->answer_output, state->bad_for > spec->answer_time, (uint8_t)XB_VALID,
               1u);
}
