/* Named conditions: power mode, supply window, time since reset, comparisons of quantities. */
#include "conditions.h"

/* Return left operator right. */
static uint8_t compare(int64_t left, uint8_t operator_, int64_t right)
{
    switch (operator_) {
    case XB_EQUAL:
        return left == right;
    case XB_NOT_EQUAL:
        return left != right;
    case XB_LESS:
        return left < right;
    case XB_LESS_OR_EQUAL:
        return left <= right;
    case XB_GREATER:
        return left > right;
    default:
        return left >= right;
    }
}

/* Return whether the condition holds in the given tick, on committed values. */
uint8_t xb_condition_holds(const xb_condition_spec *spec, uint32_t tick, uint8_t mode,
                           uint32_t supply_mv, const xb_store *store)
{
    if (tick < spec->after) {
        return 0u;
    }
    if (spec->power_modes != 0u && ((spec->power_modes >> mode) & 1u) == 0u) {
        return 0u;
    }
    if (spec->has_supply != 0u
        && (supply_mv < spec->supply_low || supply_mv > spec->supply_high)) {
        return 0u;
    }
    for (uint32_t i = 0u; i < spec->comparison_count; i++) {
        const xb_comparison_spec *term = &spec->comparisons[i];
        const xb_quantity_state *state = &store->states[term->quantity];

        if (state->status == (uint8_t)XB_STALE) {
            continue;
        }
        if (compare(state->value, term->operator_, term->value) == 0u) {
            return 0u;
        }
    }
    return 1u;
}
