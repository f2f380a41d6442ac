/* Numbers in packets: little-endian, octet by octet. */
#ifndef XB_OCTETS_H
#define XB_OCTETS_H

#include <stdint.h>

void xb_put_number(uint8_t *octets, uint32_t value, uint32_t count);
uint32_t xb_get_number(const uint8_t *octets, uint32_t count);
uint16_t xb_crc16(const uint8_t *octets, uint32_t count);

#endif
