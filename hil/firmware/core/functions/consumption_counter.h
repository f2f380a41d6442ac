/* Consumption counter: a flow summed up to a count that goes round at its modulus.
 *
 * Receivers take differences of the count, so nothing is lost to rounding: the remainder is state.
 * A lost flow adds nothing, and the count says with its status that it stands still. */
#ifndef XB_CONSUMPTION_COUNTER_H
#define XB_CONSUMPTION_COUNTER_H

#include "quantities.h"

/* A control tick adds flow * a / d steps of the count, which is 0..modulus - 1. */
typedef struct {
    uint64_t a;
    uint64_t d;
    uint32_t modulus;
    uint16_t input;
    uint16_t output;
} xb_consumption_counter_spec;

void xb_consumption_counter_step(const xb_consumption_counter_spec *spec,
                                 xb_consumption_counter_state *state, const xb_store *store);

#endif
