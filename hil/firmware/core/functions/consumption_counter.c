/* Consumption counter: a flow summed up to a count that goes round at its modulus. */
#include "consumption_counter.h"

/* Run one control tick. */
void xb_consumption_counter_step(const xb_consumption_counter_spec *spec,
                                 xb_consumption_counter_state *state, const xb_store *store)
{
    const xb_quantity_state *source = &store->states[spec->input];
    uint8_t real = xb_usable(source);

    /* LOSS */
    state->failsafe = xb_lost(source);

    /* COUNT: no flow runs backwards */
    if (real != 0u && source->value > 0) {
        uint64_t total = state->rest + (uint64_t)source->value * spec->a;

        state->count = (uint32_t)((state->count + total / spec->d) % spec->modulus);
        state->rest = total % spec->d;
    }

    /* OUTPUT */
    xb_publish_wide(store, spec->output, state->count, source->status, real);
}
