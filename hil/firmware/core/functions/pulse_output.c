/* Pulse output: a frequency for a tachometer or a speedometer, with a lowest and a highest one. */
#include "pulse_output.h"

#include "arithmetic.h"

/* Run one control tick. */
void xb_pulse_output_step(const xb_pulse_output_spec *spec, xb_pulse_output_state *state,
                          const xb_store *store)
{
    const xb_quantity_state *source = &store->states[spec->input];
    int64_t frequency;

    /* LOSS */
    state->failsafe = xb_lost(source);
    if (xb_usable(source) == 0u) {
        xb_publish(store, spec->output, spec->on_loss, source->status, 0u);
        return;
    }

    /* LIMITS */
    frequency = xb_divide(source->value * spec->a, spec->d);
    if (frequency < spec->lowest) {
        frequency = 0;
    } else if (frequency > spec->highest) {
        frequency = spec->highest;
    }

    /* OUTPUT */
    xb_publish_wide(store, spec->output, frequency, source->status, 1u);
}
