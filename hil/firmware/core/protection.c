/* Alive counters and checksums of one message: check on reception, seal on transmission. */
#include "protection.h"

#include <stddef.h>

/* Return the running checksum with one more octet. */
static uint8_t step(const xb_checksum_spec *spec, uint8_t running, uint8_t octet)
{
    if (spec->kind == (uint8_t)XB_CRC8) {
        return spec->crc->table[running ^ octet];
    }
    if (spec->kind == (uint8_t)XB_SUM8) {
        return (uint8_t)((running + octet) & 0xFF);
    }
    return (uint8_t)(running ^ octet);
}

/* Return the checksum 0..255 of a payload of the message's full length. */
uint8_t xb_checksum(const xb_checksum_spec *spec, uint64_t intel_word)
{
    uint8_t running = 0u;
    uint8_t data[8];

    xb_word_octets(intel_word, data);
    if (spec->kind == (uint8_t)XB_CRC8) {
        running = spec->crc->init;
    }
    for (uint32_t i = 0u; i < spec->before_count; i++) {
        running = step(spec, running, spec->before[i]);
    }
    for (uint32_t i = spec->first_octet; i <= spec->last_octet && i < 8u; i++) {
        if (i != spec->checksum_octet) {
            running = step(spec, running, data[i]);
        }
    }
    for (uint32_t i = 0u; i < spec->after_count; i++) {
        running = step(spec, running, spec->after[i]);
    }
    if (spec->kind == (uint8_t)XB_CRC8) {
        running = (uint8_t)(running ^ spec->crc->xorout);
    }
    return running;
}

/* Return whether the payload carries the checksum it should. */
uint8_t xb_checksum_good(const xb_checksum_spec *spec, uint64_t intel_word)
{
    uint8_t found = (uint8_t)((intel_word >> (8u * spec->checksum_octet)) & 0xFFu);

    return found == xb_checksum(spec, intel_word);
}

/* Return whether the received counter follows the reference (rule 5).
 *
 * With no reference (after reset, loss or a restart of supervision) any counter is good. */
uint8_t xb_counter_good(const xb_counter_spec *spec, uint16_t reference, uint32_t counter)
{
    uint32_t distance;

    if (reference == XB_NO_REFERENCE) {
        return 1u;
    }
    if (counter >= spec->modulo) {
        return 0u;
    }
    distance = (counter + spec->modulo - reference % spec->modulo) % spec->modulo;
    return distance >= 1u && distance <= spec->max_step;
}

/* Return the counter that follows on transmission. */
uint32_t xb_next_counter(const xb_counter_spec *spec, uint32_t counter)
{
    return counter + 1u >= spec->modulo ? 0u : counter + 1u;
}

/* Return the payload with counter and, last, checksum put in (rule 12). */
uint64_t xb_seal(const xb_counter_spec *counter_spec, const xb_checksum_spec *checksum_spec,
                 uint64_t intel_word, uint32_t counter)
{
    uint64_t word = intel_word;

    if (counter_spec != NULL) {
        word = xb_insert(&counter_spec->signal, word, counter);
    }
    if (checksum_spec != NULL) {
        uint32_t place = 8u * checksum_spec->checksum_octet;

        word &= ~((uint64_t)0xFFu << place);
        word |= (uint64_t)xb_checksum(checksum_spec, word) << place;
    }
    return word;
}
