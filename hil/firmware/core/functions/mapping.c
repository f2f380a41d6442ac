/* Plain mapping: words of one side to words of the other by table, or a straight line. */
#include "mapping.h"

/* Run one control tick. */
void xb_mapping_step(const xb_mapping_spec *spec, xb_mapping_state *state, const xb_store *store)
{
    const xb_quantity_state *source = &store->states[spec->input];
    int64_t value;

    /* LOSS */
    state->failsafe = xb_lost(source);
    if (xb_usable(source) == 0u) {
        xb_publish(store, spec->output, spec->on_loss, source->status, 0u);
        return;
    }

    /* OUTPUT */
    if (spec->table_count != 0u) {
        value = spec->otherwise;
        for (uint32_t i = 0u; i < spec->table_count; i++) {
            if (spec->table[i].x == source->value) {
                value = spec->table[i].y;
                break;
            }
        }
    } else {
        value = xb_divide(source->value * spec->a + spec->b, spec->d);
    }
    xb_publish_wide(store, spec->output, value, source->status, 1u);
}
