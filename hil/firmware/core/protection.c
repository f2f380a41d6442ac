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

/* Return the checksum of a plain spec, 0..255. */
static uint8_t plain_checksum(const xb_checksum_spec *spec, uint64_t intel_word)
{
    uint8_t running = 0u;
    uint8_t data[8];

    xb_word_octets(intel_word, data);
    if (spec->kind == (uint8_t)XB_CRC8) {
        running = spec->crc->init;
    }
    for (uint32_t i = 0u; i < spec->before_count; i++) {
        running = step(spec, running, (uint8_t)spec->before[i]);
    }
    for (uint32_t i = spec->first_octet; i <= spec->last_octet && i < 8u; i++) {
        if (i != spec->checksum_octet) {
            running = step(spec, running, data[i]);
        }
    }
    for (uint32_t i = 0u; i < spec->after_count; i++) {
        running = step(spec, running, (uint8_t)spec->after[i]);
    }
    if (spec->kind == (uint8_t)XB_CRC8) {
        running = (uint8_t)(running ^ spec->crc->xorout);
    }
    return running;
}

/* Return the running value with one more octet: an exclusive-or, a register or a sum. */
static uint32_t general_step(const xb_checksum_spec *spec, uint32_t running, uint8_t octet)
{
    const xb_wide_crc_spec *crc = spec->wide_crc;

    switch ((xb_checksum_kind)spec->kind) {
    case XB_XOR8:
    case XB_XOR4:
        return running ^ octet;
    case XB_CRC8:
        return spec->crc->table[(running ^ octet) & 0xFFu];
    case XB_CRC:
        if (crc->reflected != 0u) {
            return (running >> 8) ^ crc->table[(running ^ octet) & 0xFFu];
        }
        return ((running << 8) & crc->mask) ^ crc->table[((running >> crc->top) ^ octet) & 0xFFu];
    case XB_SUM4:
        return running + (uint32_t)(octet >> 4) + (octet & 0xFu);
    default:
        return running + octet;
    }
}

/* Return the result of the running value. */
static uint32_t finished(const xb_checksum_spec *spec, uint32_t running)
{
    uint32_t result = running;

    switch ((xb_checksum_kind)spec->kind) {
    case XB_XOR4:
        return (running >> 4) ^ (running & 0xFu);
    case XB_SUM4:
        return running & 0xFu;
    case XB_CRC8:
        return running ^ spec->crc->xorout;
    case XB_CRC:
        return (running >> spec->wide_crc->spare) ^ spec->wide_crc->xorout;
    case XB_SUM8_CARRY:
        /* At most 24 octets: twice is enough. */
        result = (result & 0xFFu) + (result >> 8);
        return (result & 0xFFu) + (result >> 8);
    case XB_SUM16_CARRY:
        return (result & 0xFFFFu) + (result >> 16);
    case XB_SUM8_INVERTED:
        return ~running & 0xFFu;
    case XB_SUM16_INVERTED:
        return ~running & 0xFFFFu;
    case XB_SUM16:
        return running & 0xFFFFu;
    case XB_SUM8:
        return running & 0xFFu;
    default:
        return running;
    }
}

/* Return the running value with the folded octets of one place, in their order. */
static uint32_t folded(const xb_checksum_spec *spec, uint32_t start, const uint16_t *octets,
                       uint32_t count, uint64_t intel_word)
{
    uint32_t running = start;
    uint32_t number = 0u;

    for (uint32_t i = 0u; i < count; i++) {
        if (octets[i] == XB_FROM_LIST && spec->list_count != 0u) {
            if (spec->counter != NULL) {
                number = (uint32_t)xb_bits(spec->counter, intel_word) % spec->list_count;
            }
            running = general_step(spec, running, spec->list[number]);
        } else {
            running = general_step(spec, running, (uint8_t)octets[i]);
        }
    }
    return running;
}

/* Return the checksum of any size, place and fold. */
static uint32_t general_checksum(const xb_checksum_spec *spec, uint64_t intel_word)
{
    uint32_t running = 0u;
    uint8_t data[8];

    xb_word_octets(xb_insert(&spec->signal, intel_word, 0u), data);
    if (spec->kind == (uint8_t)XB_CRC8) {
        running = spec->crc->init;
    } else if (spec->kind == (uint8_t)XB_CRC) {
        running = spec->wide_crc->init;
    } else {
        running = 0u;
    }
    running = folded(spec, running, spec->before, spec->before_count, intel_word);
    for (uint32_t i = spec->first_octet; i <= spec->last_octet && i < 8u; i++) {
        if ((((uint32_t)spec->own_octets >> i) & 1u) == 0u) {
            running = general_step(spec, running, data[i]);
        }
    }
    running = folded(spec, running, spec->after, spec->after_count, intel_word);
    return finished(spec, running);
}

/* Return whether the payload carries the checksum it should. */
uint8_t xb_checksum_good(const xb_checksum_spec *spec, uint64_t intel_word)
{
    if (spec->plain != 0u) {
        uint8_t found = (uint8_t)((intel_word >> (8u * spec->checksum_octet)) & 0xFFu);

        return found == plain_checksum(spec, intel_word);
    }
    return (uint32_t)xb_bits(&spec->signal, intel_word) == general_checksum(spec, intel_word);
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
    if (checksum_spec != NULL && checksum_spec->plain == 0u) {
        word = xb_insert(&checksum_spec->signal, word, general_checksum(checksum_spec, word));
    } else if (checksum_spec != NULL) {
        uint32_t place = 8u * checksum_spec->checksum_octet;

        word &= ~((uint64_t)0xFFu << place);
        word |= (uint64_t)plain_checksum(checksum_spec, word) << place;
    }
    return word;
}
