/* How state is written out: every declared field, little-endian, one by one (rule 15). */
#include "fields.h"

#include <stddef.h>

/* CRC-32/ISO-HDLC (polynomial 0xEDB88320 reflected), four bits a step. */
static const uint32_t crc_steps[16] = {
    0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u,
    0x4DB26158u, 0x5005713Cu, 0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu,
    0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu,
};

/* Write one field, little-endian; a negative value comes as its two's complement. */
void xb_write_field(xb_writer *writer, uint64_t value, uint32_t octets)
{
    for (uint32_t i = 0u; i < octets; i++) {
        uint8_t octet = (uint8_t)((value >> (8u * i)) & 0xFFu);

        if (writer->buffer != NULL) {
            writer->buffer[writer->length] = octet;
        }
        writer->length += 1u;
        writer->crc ^= octet;
        writer->crc = (writer->crc >> 4) ^ crc_steps[writer->crc & 0xFu];
        writer->crc = (writer->crc >> 4) ^ crc_steps[writer->crc & 0xFu];
    }
}
