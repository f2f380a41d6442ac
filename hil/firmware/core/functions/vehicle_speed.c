/* Vehicle speed from wheel speeds, with plausibility between wheels; never under the true speed. */
#include "vehicle_speed.h"

#include "arithmetic.h"
#include "unrolling.h"

/* Publish the speed and the one the driver sees. */
static void publish(const xb_vehicle_speed_spec *spec, const xb_vehicle_speed_state *state,
                    const xb_store *store, uint8_t status, uint8_t real)
{
    xb_publish(store, spec->output, state->speed, status, real);
    if (spec->shown != XB_NONE) {
        int64_t leading =
            state->speed > 0 ? xb_divide_up(state->speed * spec->a + spec->b, spec->d) : 0;

        xb_publish_wide(store, spec->shown, leading, status, real);
    }
}

/* Find the fastest value that another wheel agrees with; one is enough. Return whether there is
 * one. */
static uint8_t find_agreed(const xb_vehicle_speed_spec *spec, const int32_t *values,
                           uint32_t count, int32_t *fastest)
{
    uint8_t found = 0u;

    if (count == 1u) {
        *fastest = values[0];
        return 1u;
    }
    for (uint32_t i = 0u; i < count; i++) {
        int64_t band = spec->spread + xb_divide((int64_t)values[i] * spec->spread_permille, 1000);

        for (uint32_t j = 0u; j < count; j++) {
            int64_t ahead = (int64_t)values[i] - values[j];
            uint8_t supported = i != j && ahead >= 0 && ahead <= band;

            if (supported != 0u && (found == 0u || values[i] > *fastest)) {
                *fastest = values[i];
                found = 1u;
            }
        }
    }
    return found;
}

/* Return the largest of at least one value. */
static int32_t largest(const int32_t *values, uint32_t count)
{
    int32_t found = values[0];

    for (uint32_t i = 1u; i < count; i++) {
        if (values[i] > found) {
            found = values[i];
        }
    }
    return found;
}

/* Run one control tick. */
XB_INSIDE
void xb_vehicle_speed_step(const xb_vehicle_speed_spec *spec, xb_vehicle_speed_state *state,
                           const xb_store *store)
{
    uint8_t worst = (uint8_t)XB_VALID;
    uint8_t missing = 0u;
    int32_t values[XB_MOST_WHEELS] = {0};
    uint32_t count = 0u;
    int32_t agreed = 0;

    /* WHEELS: a held or substituted one has no say */
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->wheel_count; i++) {
        const xb_quantity_state *source = &store->states[spec->wheels[i]];

        if (source->status > worst) {
            worst = source->status;
        }
        missing = missing != 0u || xb_lost(source) != 0u;
        if (source->status == (uint8_t)XB_VALID && xb_usable(source) != 0u) {
            values[count] = source->value;
            count += 1u;
        }
    }

    /* LOSS: too few wheels; hold, then rest */
    state->failsafe = missing != 0u && count < spec->least;
    if (count < spec->least) {
        state->disagreed = 0u;
        if (state->known != 0u && state->held < spec->hold) {
            state->held += 1u;
            publish(spec, state, store, worst, 1u);
            return;
        }
        state->known = 0u;
        xb_publish(store, spec->output, spec->on_loss, worst, 0u);
        if (spec->shown != XB_NONE) {
            xb_publish(store, spec->shown, spec->shown_on_loss, worst, 0u);
        }
        return;
    }
    state->held = 0u;
    state->known = 1u;

    /* PLAUSIBILITY: the fastest wheel that another one agrees with, else the fastest */
    if (find_agreed(spec, values, count, &agreed) == 0u) {
        state->speed = largest(values, count);
        state->disagreed = xb_add_one(state->disagreed);
    } else {
        state->speed = agreed;
        state->disagreed = 0u;
    }
    state->failsafe = state->disagreed > spec->disagree;

    /* OUTPUT */
    publish(spec, state, store, (uint8_t)(state->failsafe != 0u ? XB_IMPLAUSIBLE : XB_VALID),
            state->failsafe == 0u);
}
