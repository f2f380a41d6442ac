/* Engine speed gauge: a shown engine speed with limited rates and a value held over short gaps. */
#include "engine_speed_gauge.h"

#include "arithmetic.h"

/* Run one control tick. */
void xb_engine_speed_gauge_step(const xb_engine_speed_gauge_spec *spec,
                                xb_engine_speed_gauge_state *state, const xb_store *store)
{
    const xb_quantity_state *source = &store->states[spec->input];
    uint32_t rate;

    /* LOSS: hold, then rest */
    state->failsafe = xb_lost(source);
    if (xb_usable(source) == 0u) {
        if (state->known != 0u && state->held < spec->hold) {
            state->held += 1u;
            xb_publish(store, spec->output, state->shown, source->status, 1u);
            return;
        }
        state->known = 0u;
        state->remainder = 0u;
        xb_publish(store, spec->output, spec->on_loss, source->status, 0u);
        return;
    }
    state->held = 0u;

    /* RATE: the first value at once */
    rate = source->value > state->shown ? spec->rise : spec->fall;
    if (state->known == 0u || rate == 0u || source->value == state->shown) {
        state->known = 1u;
        state->shown = source->value;
        state->remainder = 0u;
    } else {
        uint32_t way = xb_rate_step(&state->remainder, rate, spec->control_ms);

        state->shown = (int32_t)xb_approach(state->shown, source->value, way);
    }

    /* OUTPUT */
    xb_publish(store, spec->output, state->shown, source->status, 1u);
}
