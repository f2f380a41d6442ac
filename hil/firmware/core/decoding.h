/* Decoding of one reception unit: from the payload to the sources it feeds. */
#ifndef XB_DECODING_H
#define XB_DECODING_H

#include "quantities.h"
#include "reception.h"

void xb_decode_unit(const xb_unit_spec *unit, const xb_source_spec *specs, xb_source_state *states,
                    uint64_t intel_word, uint32_t *touched);

#endif
