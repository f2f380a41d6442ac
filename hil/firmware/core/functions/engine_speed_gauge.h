/* Engine speed gauge: a shown engine speed with limited rates and a value held over short gaps.
 *
 * The gauge holds for itself, so that the pump and the power mode may see the loss at once. After
 * the hold it shows the rest value, where the driver will notice (rule 11). */
#ifndef XB_ENGINE_SPEED_GAUGE_H
#define XB_ENGINE_SPEED_GAUGE_H

#include "quantities.h"

/* Rates in steps per second, 0 = at once; hold in control ticks; input and output step alike. */
typedef struct {
    uint32_t rise;
    uint32_t fall;
    uint32_t hold;
    uint32_t control_ms;
    int32_t on_loss;
    uint16_t input;
    uint16_t output;
} xb_engine_speed_gauge_spec;

void xb_engine_speed_gauge_step(const xb_engine_speed_gauge_spec *spec,
                                xb_engine_speed_gauge_state *state, const xb_store *store);

#endif
