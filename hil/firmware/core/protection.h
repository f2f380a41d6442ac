/* Alive counters and checksums of one message: check on reception, seal on transmission.
 *
 * The order on reception is checksum, then counter (rule 5); on transmission counter, then
 * checksum (rule 12). */
#ifndef XB_PROTECTION_H
#define XB_PROTECTION_H

#include <stdint.h>

#include "signals.h"

#define XB_NO_REFERENCE 0xFFFFu /* the counter reference while the next frame goes unchecked */

typedef enum { XB_XOR8 = 0, XB_SUM8 = 1, XB_CRC8 = 2 } xb_checksum_kind;

/* A CRC of width 8 by its 256-entry table, start value and final exclusive-or. With a register of
 * one octet the table step is the same for both bit orders. */
typedef struct {
    uint8_t table[256];
    uint8_t init;
    uint8_t xorout;
} xb_crc_spec;

/* A checksum of one whole octet. It covers octets first..last of the payload without its own, with
 * the folded octets `before` and `after` them. */
typedef struct {
    const xb_crc_spec *crc; /* only for XB_CRC8 */
    const uint8_t *before;
    const uint8_t *after;
    uint8_t before_count;
    uint8_t after_count;
    uint8_t kind;
    uint8_t first_octet;
    uint8_t last_octet;
    uint8_t checksum_octet;
} xb_checksum_spec;

/* A plain alive counter 0..modulo-1; a step of 1..max_step is good, 0 is a repetition. */
typedef struct {
    xb_signal_spec signal;
    uint32_t modulo;
    uint32_t max_step;
} xb_counter_spec;

uint8_t xb_checksum(const xb_checksum_spec *spec, uint64_t intel_word);
uint8_t xb_checksum_good(const xb_checksum_spec *spec, uint64_t intel_word);
uint8_t xb_counter_good(const xb_counter_spec *spec, uint16_t reference, uint32_t counter);
uint32_t xb_next_counter(const xb_counter_spec *spec, uint32_t counter);
uint64_t xb_seal(const xb_counter_spec *counter_spec, const xb_checksum_spec *checksum_spec,
                 uint64_t intel_word, uint32_t counter);

#endif
