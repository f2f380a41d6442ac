/* Pins: electrical levels to switch states with debounce, analogue counts, and output pins. */
#include "pins.h"

/* Look at the pin once a tick.
 *
 * Seen different first in tick t, the new state is accepted in tick t + debounce. */
void xb_debounce(const xb_level_input_spec *spec, xb_level_input_state *state, uint8_t level)
{
    uint8_t active = (level != 0u) == (spec->active_high != 0u);

    if (active == state->active) {
        state->differs = 0u;
    } else if (state->differs >= spec->debounce) {
        state->active = active;
        state->differs = 0u;
    } else {
        state->differs += 1u;
    }
}

/* Write the quantity-side value of the counts, left alone unless the reading is good. */
xb_reading xb_measure(const xb_analogue_input_spec *spec, uint16_t counts, int32_t *value)
{
    /* WIRING */
    if (counts < spec->valid_low) {
        return XB_READING_LOW;
    }
    if (counts > spec->valid_high) {
        return XB_READING_HIGH;
    }
    /* LADDER */
    if (spec->band_count != 0u) {
        for (uint32_t i = 0u; i < spec->band_count; i++) {
            if (counts >= spec->bands[i].low && counts <= spec->bands[i].high) {
                *value = spec->bands[i].value;
                return XB_READING_GOOD;
            }
        }
        return XB_READING_BETWEEN;
    }
    /* CURVE */
    *value = xb_interpolate(&spec->curve, counts);
    return XB_READING_GOOD;
}

/* Return what the pin carries: electrical level 0/1, duty 0..10000, or frequency in mHz. */
uint32_t xb_drive(const xb_output_pin_spec *spec, int32_t value)
{
    if (spec->kind == (uint8_t)XB_PIN_LEVEL) {
        return (value != 0) == (spec->active_high != 0u) ? 1u : 0u;
    }
    if (spec->kind == (uint8_t)XB_PIN_DUTY) {
        return (uint32_t)xb_saturate(value, 0, XB_MAX_DUTY);
    }
    return (uint32_t)xb_saturate(value, 0, XB_MAX_FREQUENCY_MHZ);
}
