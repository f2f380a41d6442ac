/* Decoding of one reception unit: from the payload to the sources it feeds. */
#include "decoding.h"

/* Decode an accepted payload into the unit's sources; their quantities have to be looked at. */
void xb_decode_unit(const xb_unit_spec *unit, const xb_source_spec *specs, xb_source_state *states,
                    uint64_t intel_word, uint32_t *touched)
{
    for (uint32_t i = 0u; i < unit->source_count; i++) {
        uint16_t source = unit->sources[i];

        uint64_t bits = xb_bits(&specs[source].signal, intel_word);

        if (xb_take(&specs[source], &states[source], bits) != 0u) {
            xb_add_to(touched, specs[source].quantity);
        }
    }
}
