/* Quantities: value + status + origin; decoding, plausibility, substitution on loss, return. */
#include "quantities.h"

#include "arithmetic.h"
#include "unrolling.h"

/* Set a produced quantity, saturated to its range.
 *
 * `real` is 0 where the value stands in for data that is lost or not there yet. */
XB_INSIDE
void xb_publish(const xb_store *store, int32_t index, int32_t value, uint8_t status, uint8_t real)
{
    const xb_quantity_spec *spec = &store->specs[index];
    xb_quantity_state *state = &store->states[index];
    int32_t shown = xb_saturate_short(value, spec->low, spec->high);
    uint8_t origin = (uint8_t)(real != 0u ? XB_ORIGIN_PRODUCED : XB_ORIGIN_SUBSTITUTE);

    if (shown != state->value || status != state->status || origin != state->origin) {
        state->value = shown;
        state->status = status;
        state->origin = origin;
        xb_add_to(store->changed, (uint32_t)index);
    }
}

/* Set a produced quantity to a value of any size, saturated to its range. */
void xb_publish_wide(const xb_store *store, int32_t index, int64_t value, uint8_t status,
                     uint8_t real)
{
    xb_publish(store, index, (int32_t)xb_saturate(value, INT32_MIN, INT32_MAX), status, real);
}

/* Return whether data that should be there is not: substituted, or never came in time.
 *
 * A quantity that was never received is not lost before its first deadline has passed. */
uint8_t xb_lost(const xb_quantity_state *state)
{
    return xb_usable(state) == 0u && state->status != (uint8_t)XB_NEVER_RECEIVED;
}

/* Return whether a yes-or-no value is real and not 0; an absent one is not. */
uint8_t xb_is_on(const xb_store *store, int32_t index)
{
    return index != XB_NONE && store->states[index].value != 0
           && xb_usable(&store->states[index]) != 0u;
}

/* Return the status of a raw value (rule 4): special codes, then range, then scale. The value is
 * written only with status valid. */
static uint8_t decode(const xb_source_spec *spec, int64_t raw, int32_t *value)
{
    for (uint32_t i = 0u; i < spec->special_count; i++) {
        if (spec->specials[i].first <= raw && raw <= spec->specials[i].last) {
            return spec->specials[i].status;
        }
    }
    if (raw < spec->valid_low || raw > spec->valid_high) {
        return (uint8_t)XB_OUT_OF_RANGE;
    }
    *value = (int32_t)xb_saturate(xb_divide(raw * spec->a + spec->b, spec->d), spec->low,
                                  spec->high);
    return (uint8_t)XB_VALID;
}

/* Return valid, frozen or implausible for a decoded value (rule 8), the worse one. */
static uint8_t plausibility(const xb_source_spec *spec, xb_source_state *state, int32_t value,
                            uint8_t repeated)
{
    uint8_t status = (uint8_t)XB_VALID;
    int64_t change = (int64_t)value - state->value;

    if (spec->frozen_after != 0u) {
        state->unchanged = repeated != 0u ? xb_count(state->unchanged) : 0u;
        if (state->unchanged >= spec->frozen_after) {
            status = (uint8_t)XB_FROZEN;
        }
    }
    if (change < 0) {
        change = -change;
    }
    if (spec->max_change != 0 && state->status <= (uint8_t)XB_IMPLAUSIBLE
        && change > spec->max_change) {
        status = (uint8_t)XB_IMPLAUSIBLE;
    }
    return status;
}

/* Take the signal's bits of an accepted frame; return whether value or status changed. */
uint8_t xb_take(const xb_source_spec *spec, xb_source_state *state, uint64_t bits)
{
    uint8_t repeated = state->status != (uint8_t)XB_NEVER_RECEIVED && bits == state->bits;
    int32_t value = state->value;
    uint8_t status;
    uint8_t changed;

    if (repeated != 0u && spec->watched == 0u) {
        return 0u; /* the same bits say the same */
    }
    state->bits = bits;
    status = decode(spec, xb_signed(&spec->signal, bits), &value);
    if (spec->watched != 0u) {
        if (status == (uint8_t)XB_VALID) {
            status = plausibility(spec, state, value, repeated);
        } else {
            state->unchanged = 0u;
        }
    }
    changed = status != state->status || value != state->value;
    state->status = status;
    state->value = value;
    return changed;
}

/* Forget a source at loss or restart of supervision: the next frame starts anew. */
void xb_forget(xb_source_state *state)
{
    state->status = (uint8_t)XB_NEVER_RECEIVED;
    state->unchanged = 0u;
}

/* Return the first source behind the first that is valid, or 0 when there is none. */
static uint32_t fallback(const xb_delivery_spec *spec, const xb_source_state *sources)
{
    for (uint32_t origin = 1u; origin < spec->source_count; origin++) {
        if (sources[spec->sources[origin]].status == (uint8_t)XB_VALID) {
            return origin;
        }
    }
    return 0u;
}

/* Put the fixed value, "not available" or the initial value in place of what is lost (rule 10);
 * `lost` is the status of the loss. */
void xb_substitute(const xb_delivery_spec *spec, xb_quantity_state *state, uint8_t lost)
{
    if (lost == (uint8_t)XB_NEVER_RECEIVED) {
        state->origin = (uint8_t)XB_ORIGIN_INITIAL;
        state->value = spec->initial;
    } else if (spec->has_substitute == 0u) {
        state->origin = (uint8_t)XB_ORIGIN_NOT_AVAILABLE;
    } else {
        state->origin = (uint8_t)XB_ORIGIN_SUBSTITUTE;
        state->value = spec->substitute;
    }
    state->status = lost;
}

/* Work out a received quantity from its sources in order (rule 10). `sources` are all of the engine;
 * `lost` is what the first one says while it is not valid. A source of a lost unit is not valid.
 *
 * Return what became of it. */
XB_APART
uint8_t xb_evaluate(const xb_delivery_spec *spec, xb_quantity_state *state,
                    const xb_source_state *sources, uint8_t lost, uint32_t tick_ms)
{
    uint32_t origin = 0u;
    int32_t value;

    /* SOURCE: the first one when valid */
    if (sources[spec->sources[0]].status == (uint8_t)XB_VALID) {
        state->held = 0u;
    } else if (state->held < spec->hold
               && (state->origin == 0u || state->origin == XB_ORIGIN_HELD)) {
        /* HOLD: from the tick of the loss on, for `hold` ticks */
        uint8_t changed = state->status != lost || state->origin == 0u;

        state->held += 1u;
        state->status = lost;
        state->origin = (uint8_t)XB_ORIGIN_HELD;
        state->returning = 0u;
        return (uint8_t)(XB_QUANTITY_AGAIN | (changed != 0u ? XB_QUANTITY_CHANGED : 0u));
    } else {
        /* FALLBACK: the next valid source */
        origin = fallback(spec, sources);
        if (origin == 0u) {
            /* SUBSTITUTE: a fixed value, or "not available" */
            state->returning = 0u;
            xb_substitute(spec, state, lost);
            return (uint8_t)XB_QUANTITY_CHANGED;
        }
    }

    /* RETURN: at once, or with a limited rate from the value shown last */
    value = sources[spec->sources[origin]].value;
    if (spec->return_rate != 0u && state->origin != XB_ORIGIN_INITIAL
        && state->origin != XB_ORIGIN_NOT_AVAILABLE && state->origin != origin) {
        state->returning = 1u;
        state->remainder = 0u;
    }
    if (state->returning != 0u) {
        int32_t target = value;
        uint32_t step = xb_rate_step(&state->remainder, spec->return_rate, tick_ms);

        value = (int32_t)xb_approach(state->value, target, step);
        state->returning = value != target;
    }
    state->value = value;
    state->status = (uint8_t)XB_VALID;
    state->origin = (uint8_t)origin;
    return (uint8_t)(XB_QUANTITY_CHANGED | (state->returning != 0u ? XB_QUANTITY_AGAIN : 0u));
}
