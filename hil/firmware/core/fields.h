/* How state is written out and taken up: every declared field, little-endian, one by one
 * (rule 15). */
#ifndef XB_FIELDS_H
#define XB_FIELDS_H

#include <stddef.h>
#include <stdint.h>

/* Where fields go. Octets go to `buffer` when it is not NULL, and always into the CRC-32.
 *
 * With a `source` it goes the other way round: the fields take the values that stand there. With
 * `kept_only` the fields that do not survive a reset are left out.
 *
 * buffer and source may hold only a part: `count` octets from place `first` on. Octets outside it
 * are not written; fields that do not lie wholly inside keep their values. */
typedef struct {
    uint8_t *buffer;
    const uint8_t *source;
    uint32_t length; /* octets put so far */
    uint32_t crc;    /* running register, not yet inverted */
    uint8_t kept_only;
    uint32_t first;
    uint32_t count;
} xb_writer;

xb_writer xb_new_writer(uint8_t *buffer, const uint8_t *source, uint8_t kept_only);
uint64_t xb_put_field(xb_writer *writer, uint64_t value, uint32_t octets, uint8_t kept);
uint32_t xb_crc32_octet(uint32_t crc, uint8_t octet);
int64_t xb_from_complement(uint64_t value, uint32_t octets);

#endif
