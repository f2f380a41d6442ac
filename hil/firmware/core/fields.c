/* How state is written out and taken up: every declared field, little-endian, one by one
 * (rule 15). */
#include "fields.h"

/* CRC-32/ISO-HDLC (polynomial 0xEDB88320 reflected), four bits a step. */
static const uint32_t crc_steps[16] = {
    0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u,
    0x4DB26158u, 0x5005713Cu, 0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu,
    0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu,
};

/* Return a writer at its start. */
xb_writer xb_new_writer(uint8_t *buffer, const uint8_t *source, uint8_t kept_only)
{
    xb_writer writer = {buffer, source, 0u, UINT32_MAX, kept_only, 0u, UINT32_MAX};

    return writer;
}

/* Take one octet into a running CRC-32/ISO-HDLC register. */
uint32_t xb_crc32_octet(uint32_t crc, uint8_t octet)
{
    crc ^= octet;
    crc = (crc >> 4) ^ crc_steps[crc & 0xFu];
    return (crc >> 4) ^ crc_steps[crc & 0xFu];
}

/* Return whether the next `octets` octets lie wholly inside the part buffer or source hold. */
static uint8_t is_inside(const xb_writer *writer, uint32_t octets)
{
    return (writer->length >= writer->first && writer->count >= octets &&
            writer->length - writer->first <= writer->count - octets)
               ? 1u
               : 0u;
}

/* Return the octets at the writer's source as a number, little-endian. */
static uint64_t take(const xb_writer *writer, uint32_t octets)
{
    uint64_t value = 0u;

    for (uint32_t i = 0u; i < octets; i++) {
        value |= (uint64_t)writer->source[(writer->length - writer->first) + i] << (8u * i);
    }
    return value;
}

/* Put one field out, little-endian, a negative value as its two's complement, or take it up.
 * Return the value the field has afterwards. */
uint64_t xb_put_field(xb_writer *writer, uint64_t value, uint32_t octets, uint8_t kept)
{
    if (writer->kept_only != 0u && kept == 0u) {
        return value;
    }
    if (writer->source != NULL && is_inside(writer, octets) != 0u) {
        value = take(writer, octets);
    }
    for (uint32_t i = 0u; i < octets; i++) {
        uint8_t octet = (uint8_t)((value >> (8u * i)) & 0xFFu);

        if (writer->buffer != NULL && is_inside(writer, 1u) != 0u) {
            writer->buffer[writer->length - writer->first] = octet;
        }
        writer->length += 1u;
        writer->crc = xb_crc32_octet(writer->crc, octet);
    }
    return value;
}

/* Return the number that a two's complement of so many octets, or of 8, stands for. */
int64_t xb_from_complement(uint64_t value, uint32_t octets)
{
    uint64_t top = octets < 8u ? UINT64_MAX >> (8u * (8u - octets)) : UINT64_MAX;
    uint64_t bits = value & top;

    if (bits <= top >> 1) {
        return (int64_t)bits;
    }
    return -(int64_t)(top - bits) - 1;
}
