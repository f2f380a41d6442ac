/* How state is written out: every declared field, little-endian, one by one (rule 15). */
#ifndef XB_FIELDS_H
#define XB_FIELDS_H

#include <stdint.h>

/* Where the image goes. Octets go to `buffer` when it is not NULL, and always into the CRC-32. */
typedef struct {
    uint8_t *buffer;
    uint32_t length; /* octets written so far */
    uint32_t crc;    /* running register, not yet inverted */
} xb_writer;

void xb_write_field(xb_writer *writer, uint64_t value, uint32_t octets);

#endif
