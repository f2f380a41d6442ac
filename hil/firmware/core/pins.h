/* Pins: electrical levels to switch states with debounce, analogue counts, and output pins.
 *
 * Duty is 0..10000 (hundredths of a percent), frequency in mHz. A switch's state is 1 while it is
 * active. */
#ifndef XB_PINS_H
#define XB_PINS_H

#include <stdint.h>

#include "arithmetic.h"
#include "xb_state.h"

#define XB_MAX_DUTY 10000
#define XB_MAX_FREQUENCY_MHZ INT32_MAX

typedef enum { XB_PIN_LEVEL = 0, XB_PIN_DUTY = 1, XB_PIN_FREQUENCY = 2 } xb_pin_kind;

/* A switch: active high or low; a new level counts after `debounce` ticks without change. */
typedef struct {
    uint32_t debounce;
    int32_t source;
    uint8_t active_high;
} xb_level_input_spec;

/* What counts say: a value, a wire shorted low or high (or open), or none of the contacts. */
typedef enum {
    XB_READING_GOOD = 0,
    XB_READING_LOW = 1,
    XB_READING_HIGH = 2,
    XB_READING_BETWEEN = 3
} xb_reading;

/* A contact of a resistor ladder: counts low..high, both included, mean `value`. */
typedef struct {
    int32_t low;
    int32_t high;
    int32_t value;
} xb_band_spec;

/* An analogue input: counts outside valid_low..valid_high mean a broken or shorted wire.
 *
 * With bands, rising and with gaps between them, the input is a ladder of contacts and counts in a
 * gap are none of them. `wiring` is the quantity that carries the number of the reading, or
 * XB_NONE. */
typedef struct {
    xb_curve curve;
    const xb_band_spec *bands;
    uint32_t band_count;
    int32_t valid_low;
    int32_t valid_high;
    int32_t source;
    int32_t wiring;
} xb_analogue_input_spec;

/* An output pin that follows a quantity; `place` is its number among the pins of its kind.
 * `reset_value` is what the quantity counts as before tick 0. */
typedef struct {
    uint16_t quantity;
    uint16_t place;
    int32_t reset_value;
    uint8_t kind;
    uint8_t active_high;
} xb_output_pin_spec;

void xb_debounce(const xb_level_input_spec *spec, xb_level_input_state *state, uint8_t level);
xb_reading xb_measure(const xb_analogue_input_spec *spec, uint16_t counts, int32_t *value);
uint32_t xb_drive(const xb_output_pin_spec *spec, int32_t value);

#endif
