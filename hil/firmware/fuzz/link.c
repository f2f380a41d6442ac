/* Fuzz target: any octets on the line into the link, in pieces of any size.
 *
 * An input that begins with an even octet is the line itself. With an odd one it says packets, each
 * kind, flags, length and payload, which this file puts on the line with a good header, CRC and
 * framing, so that the fuzzer reaches what lies behind them. */
#include <stddef.h>
#include <stdint.h>

#include "xb_link.h"
#include "xb_port.h"

#define MOST_POLLS 4096u

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define HEADER 10u

static uint8_t line[16384];
static uint32_t line_length;
static const uint8_t *octets;
static size_t left;
static uint8_t restarted;
static volatile uint8_t sent;

uint32_t xb_port_read(uint8_t *buffer, uint32_t room)
{
    uint32_t count = 0u;
    uint32_t piece = left > 0u ? 1u + (*octets & 63u) : 0u;

    while (count < room && count < piece && left > 0u) {
        buffer[count] = *octets;
        octets++;
        left--;
        count++;
    }
    return count;
}

void xb_port_write(const uint8_t *out, uint32_t count)
{
    for (uint32_t i = 0u; i < count; i++) {
        sent ^= out[i]; /* so that the sanitizer looks at every octet that leaves */
    }
}

uint32_t xb_port_overruns(void)
{
    return 0u;
}

uint32_t xb_port_errors(void)
{
    return 0u;
}

uint32_t xb_port_ring(void)
{
    return 2048u;
}

uint32_t xb_port_cycles(void)
{
    return 0u;
}

xb_lasting *xb_port_lasting(void)
{
    static xb_lasting lasting;

    return &lasting;
}

void xb_port_restart(void)
{
    restarted = 1u;
}

/* Return the CRC-16/IBM-3740 of some octets. */
static uint16_t crc16(const uint8_t *data, uint32_t count)
{
    uint32_t crc = 0xFFFFu;

    for (uint32_t i = 0u; i < count; i++) {
        crc ^= (uint32_t)data[i] << 8;
        for (uint32_t bit = 0u; bit < 8u; bit++) {
            crc = (crc << 1) ^ ((crc & 0x8000u) != 0u ? 0x11021u : 0u);
        }
    }
    return (uint16_t)crc;
}

/* Put one packet on the line, its zeros taken out. */
static void put(const uint8_t *packet, uint32_t count)
{
    uint32_t code = line_length;
    uint8_t run = 1u;

    line_length++;
    for (uint32_t i = 0u; i < count; i++) {
        if (packet[i] != 0u) {
            line[line_length] = packet[i];
            line_length++;
            run++;
        }
        if (packet[i] == 0u || run == 0xFFu) {
            line[code] = run;
            code = line_length;
            line_length++;
            run = 1u;
        }
    }
    line[code] = run;
    line[line_length] = 0u;
    line_length++;
}

/* Turn an input that says packets into the line. */
static void make_line(const uint8_t *data, size_t size)
{
    static const uint8_t kinds[] = {0x01u, 0x02u, 0x03u, 0x10u, 0x10u, 0x10u, 0x11u, 0x12u};
    static uint8_t packet[HEADER + 256u + 2u];
    uint16_t sequence = 0u;
    size_t place = 0u;

    line_length = 0u;
    line[line_length] = 0u;
    line_length++;
    while (place + 3u <= size && line_length < sizeof line - 1024u) {
        uint8_t kind = kinds[data[place] & 7u];
        uint32_t length = data[place + 2u];
        uint16_t check;

        if ((size_t)length > size - place - 3u) {
            length = (uint32_t)(size - place - 3u);
        }
        packet[0] = (data[place] & 0x80u) != 0u ? data[place] : kind;
        packet[1] = data[place + 1u] & 3u;
        packet[2] = 0x34u;
        packet[3] = 0x12u;
        packet[4] = (uint8_t)sequence;
        packet[5] = (uint8_t)(sequence >> 8);
        packet[6] = packet[4];
        packet[7] = packet[5];
        packet[8] = (uint8_t)length;
        packet[9] = (uint8_t)(length >> 8);
        for (uint32_t i = 0u; i < length; i++) {
            packet[HEADER + i] = data[place + 3u + i];
        }
        check = crc16(packet, HEADER + length);
        packet[HEADER + length] = (uint8_t)check;
        packet[HEADER + length + 1u] = (uint8_t)(check >> 8);
        put(packet, HEADER + length + 2u);
        sequence = (uint16_t)(sequence + (packet[0] >= 0x10u ? 1u : 0u));
        place += 3u + length;
    }
    octets = line;
    left = line_length;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    uint32_t idle = 0u;

    octets = data;
    left = size;
    if (size > 0u && (data[0] & 1u) != 0u) {
        make_line(&data[1], size - 1u);
    }
    restarted = 0u;
    xb_link_start(0u, 1u);
    for (uint32_t i = 0u; i < MOST_POLLS && idle < 2u && restarted == 0u; i++) {
        idle = xb_link_poll() != 0 || left > 0u ? 0u : idle + 1u;
    }
    return 0;
}
