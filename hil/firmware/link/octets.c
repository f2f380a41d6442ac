/* Numbers in packets: little-endian, octet by octet; and the check of a packet. */
#include "octets.h"

/* CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF), four bits a step. */
static const uint16_t crc_steps[16] = {
    0x0000u, 0x1021u, 0x2042u, 0x3063u, 0x4084u, 0x50A5u, 0x60C6u, 0x70E7u,
    0x8108u, 0x9129u, 0xA14Au, 0xB16Bu, 0xC18Cu, 0xD1ADu, 0xE1CEu, 0xF1EFu,
};

/* Write the low `count` octets (1..4) of a number. */
void xb_put_number(uint8_t *octets, uint32_t value, uint32_t count)
{
    for (uint32_t i = 0u; i < count; i++) {
        octets[i] = (uint8_t)((value >> (8u * i)) & 0xFFu);
    }
}

/* Read a number of `count` octets (1..4). */
uint32_t xb_get_number(const uint8_t *octets, uint32_t count)
{
    uint32_t value = 0u;

    for (uint32_t i = 0u; i < count; i++) {
        value |= (uint32_t)octets[i] << (8u * i);
    }
    return value;
}

/* Return the CRC-16 of a packet. */
uint16_t xb_crc16(const uint8_t *octets, uint32_t count)
{
    uint32_t crc = 0xFFFFu;

    for (uint32_t i = 0u; i < count; i++) {
        uint32_t high = (crc >> 12) ^ ((uint32_t)octets[i] >> 4);

        crc = ((crc << 4) & 0xFFFFu) ^ crc_steps[high & 0xFu];
        high = (crc >> 12) ^ (uint32_t)octets[i];
        crc = ((crc << 4) & 0xFFFFu) ^ crc_steps[high & 0xFu];
    }
    return (uint16_t)crc;
}
