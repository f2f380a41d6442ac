/* Raw bits out of a payload and back, both byte orders.
 *
 * A payload is a 64-bit word: the Intel word has octet 0 least significant, the Motorola word has
 * octet 0 most significant. A signal is a shift and a mask in the word of its byte order. */
#ifndef XB_SIGNALS_H
#define XB_SIGNALS_H

#include <stdint.h>

#include "xb_tables.h"

/* intel 1 or Motorola 0; is_signed 1 = two's complement; mask as wide as the signal. */
typedef struct {
    xb_mask mask;
    uint8_t shift;
    uint8_t intel;
    uint8_t is_signed;
    uint8_t last_octet;
} xb_signal_spec;

uint64_t xb_intel_word(const uint8_t *data, uint32_t length);
uint64_t xb_swap_word(uint64_t word);
void xb_word_octets(uint64_t intel_word, uint8_t *data);
uint64_t xb_bits(const xb_signal_spec *spec, uint64_t intel_word);
int64_t xb_signed(const xb_signal_spec *spec, uint64_t bits);
uint64_t xb_insert(const xb_signal_spec *spec, uint64_t intel_word, uint64_t raw);

/* Return the word of the signal's byte order with the raw value put in; other bits keep. */
static inline uint64_t xb_into_word(const xb_signal_spec *spec, uint64_t word, uint64_t raw)
{
    return (word & ~((uint64_t)spec->mask << spec->shift)) | ((raw & spec->mask) << spec->shift);
}

#endif
