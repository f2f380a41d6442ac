/* Gauge: a needle position by curve (plateau and all), with hysteresis and a rest position.
 *
 * The needle moves only when the input left the band of +-hysteresis around the value last shown.
 * On loss, and before the first value, it goes where the driver will notice (rule 11). */
#ifndef XB_GAUGE_H
#define XB_GAUGE_H

#include "arithmetic.h"
#include "quantities.h"

/* Curve from steps of input to steps of output; hysteresis in steps of input. */
typedef struct {
    xb_curve curve;
    int64_t hysteresis;
    int32_t on_loss;
    uint16_t input;
    uint16_t output;
} xb_gauge_spec;

void xb_gauge_step(const xb_gauge_spec *spec, xb_gauge_state *state, const xb_store *store);

#endif
