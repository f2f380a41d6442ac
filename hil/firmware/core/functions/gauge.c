/* Gauge: a needle position by curve (plateau and all), with hysteresis and a rest position. */
#include "gauge.h"

/* Run one control tick. */
void xb_gauge_step(const xb_gauge_spec *spec, xb_gauge_state *state, const xb_store *store)
{
    const xb_quantity_state *source = &store->states[spec->input];
    int64_t distance = (int64_t)source->value - state->reference;

    /* LOSS */
    state->failsafe = xb_lost(source);
    if (xb_usable(source) == 0u) {
        state->shown = 0u;
        xb_publish(store, spec->output, spec->on_loss, source->status, 0u);
        return;
    }

    /* HYSTERESIS */
    if (state->shown == 0u || distance > spec->hysteresis || -distance > spec->hysteresis) {
        state->shown = 1u;
        state->reference = source->value;
    }

    /* OUTPUT */
    xb_publish(store, spec->output, xb_interpolate(&spec->curve, state->reference),
               source->status, 1u);
}
