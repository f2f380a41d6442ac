/* Alive counters and checksums of one message: check on reception, seal on transmission.
 *
 * The order on reception is checksum, then counter (rule 5); on transmission counter, then
 * checksum (rule 12). */
#ifndef XB_PROTECTION_H
#define XB_PROTECTION_H

#include <stdint.h>

#include "signals.h"

#define XB_NO_REFERENCE 0xFFFFu /* the counter reference while the next frame goes unchecked */

/* The arithmetic of a checksum over the covered octets. The 4-bit kinds go over nibbles; CARRY adds
 * what goes beyond the width at its low end; INVERTED is the complement of the sum. CRC8 is a CRC of
 * one octet, CRC one of any other width or any polynomial. */
typedef enum {
    XB_XOR8 = 0,
    XB_SUM8 = 1,
    XB_CRC8 = 2,
    XB_XOR4 = 3,
    XB_SUM4 = 4,
    XB_SUM8_INVERTED = 5,
    XB_SUM8_CARRY = 6,
    XB_SUM16 = 7,
    XB_SUM16_INVERTED = 8,
    XB_SUM16_CARRY = 9,
    XB_CRC = 10
} xb_checksum_kind;

#define XB_FROM_LIST 0x100u /* a folded octet that the counter chooses from the data-ID list */

/* A CRC of width 8 by its 256-entry table, start value and final exclusive-or. With a register of
 * one octet the table step is the same for both bit orders. */
typedef struct {
    uint8_t table[256];
    uint8_t init;
    uint8_t xorout;
} xb_crc_spec;

/* A CRC of width 4 to 32. A register narrower than an octet is kept at the upper end of one (not
 * reflected) or at the lower end (reflected); `top` is the shift of the register's highest octet,
 * `spare` the bits below the result. */
typedef struct {
    uint32_t table[256];
    uint32_t init;
    uint32_t xorout;
    uint32_t mask;
    uint8_t reflected;
    uint8_t top;
    uint8_t spare;
} xb_wide_crc_spec;

/* A checksum. It covers octets first..last of the payload, with the folded octets `before` and
 * `after` them. An octet that holds nothing but the checksum (a bit in `own_octets`) is left out; in
 * one that it shares, its own bits count as zero. A `plain` one is one whole octet of one of the
 * first three kinds with fixed folded octets. */
typedef struct {
    const xb_crc_spec *crc;           /* only for XB_CRC8 */
    const xb_wide_crc_spec *wide_crc; /* only for XB_CRC */
    const uint16_t *before;           /* an octet, or XB_FROM_LIST */
    const uint16_t *after;
    const uint8_t *list;              /* data IDs, one octet each */
    const xb_signal_spec *counter;    /* chooses from the list */
    xb_signal_spec signal;
    uint8_t before_count;
    uint8_t after_count;
    uint8_t list_count;
    uint8_t own_octets;
    uint8_t kind;
    uint8_t first_octet;
    uint8_t last_octet;
    uint8_t checksum_octet;
    uint8_t plain;
} xb_checksum_spec;

/* A plain alive counter 0..modulo-1; a step of 1..max_step is good, 0 is a repetition. Before
 * anything was sent it is `before_first`. */
typedef struct {
    xb_signal_spec signal;
    uint32_t modulo;
    uint32_t max_step;
    uint32_t before_first;
} xb_counter_spec;

uint8_t xb_checksum_good(const xb_checksum_spec *spec, uint64_t intel_word);
uint8_t xb_counter_good(const xb_counter_spec *spec, uint16_t reference, uint32_t counter);
uint32_t xb_next_counter(const xb_counter_spec *spec, uint32_t counter);
uint64_t xb_seal(const xb_counter_spec *counter_spec, const xb_checksum_spec *checksum_spec,
                 uint64_t intel_word, uint32_t counter);

#endif
