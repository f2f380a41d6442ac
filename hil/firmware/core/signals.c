/* Raw bits out of a payload and back, both byte orders. */
#include "signals.h"

/* Return the payload (0..8 octets) as a number with octet 0 least significant. */
uint64_t xb_intel_word(const uint8_t *data, uint32_t length)
{
    uint32_t half[2] = {0u, 0u};

    for (uint32_t i = 0u; i < length && i < 8u; i++) {
        half[i / 4u] |= (uint32_t)data[i] << (8u * (i % 4u));
    }
    return ((uint64_t)half[1] << 32) | half[0];
}

/* Return four octets in the other order; one instruction on most processors. */
static uint32_t swap_half(uint32_t half)
{
    return (half >> 24) | ((half >> 8) & 0xFF00u) | ((half & 0xFF00u) << 8) | (half << 24);
}

/* Return the word with its octets in the other order: Intel to Motorola and back. */
uint64_t xb_swap_word(uint64_t word)
{
    uint32_t low = (uint32_t)(word & 0xFFFFFFFFu);
    uint32_t high = (uint32_t)(word >> 32);

    return ((uint64_t)swap_half(low) << 32) | swap_half(high);
}

/* Write the Intel word as 8 octets. */
void xb_word_octets(uint64_t intel_word, uint8_t *data)
{
    uint32_t low = (uint32_t)(intel_word & 0xFFFFFFFFu);
    uint32_t high = (uint32_t)(intel_word >> 32);

    for (uint32_t i = 0u; i < 4u; i++) {
        data[i] = (uint8_t)((low >> (8u * i)) & 0xFFu);
        data[i + 4u] = (uint8_t)((high >> (8u * i)) & 0xFFu);
    }
}

/* Return the signal's raw field, without sign. */
uint64_t xb_bits(const xb_signal_spec *spec, uint64_t intel_word)
{
    uint64_t word = spec->intel != 0u ? intel_word : xb_swap_word(intel_word);

    return (word >> spec->shift) & spec->mask;
}

/* Return the raw value of the signal's bits: two's complement where it has a sign.
 *
 * The load has proven that the value fits 64 bit with sign. */
int64_t xb_signed(const xb_signal_spec *spec, uint64_t bits)
{
    if (spec->is_signed != 0u && bits > (spec->mask >> 1)) {
        return -(int64_t)(spec->mask - bits) - 1;
    }
    return (int64_t)bits;
}

/* Return the Intel word with the raw value put in; neighbours stay untouched. */
uint64_t xb_insert(const xb_signal_spec *spec, uint64_t intel_word, uint64_t raw)
{
    if (spec->intel != 0u) {
        return xb_into_word(spec, intel_word, raw);
    }
    return xb_swap_word(xb_into_word(spec, xb_swap_word(intel_word), raw));
}
