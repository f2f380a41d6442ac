/* Framing: COBS (Cheshire and Baker 1999). No octet of a framed packet is zero; zero ends it. */
#include "cobs.h"

#include "xb_port.h"

#define LONGEST_BLOCK 254u

/* Await the first octet of a packet. */
void xb_decoder_reset(xb_decoder *decoder)
{
    decoder->length = 0u;
    decoder->left = 0u;
    decoder->owed = 0u;
    decoder->spoiled = 0u;
}

/* Add a decoded octet; one too many spoils the packet. */
static void append(xb_decoder *decoder, uint8_t octet)
{
    if (decoder->length < XB_LINK_PACKET) {
        decoder->octets[decoder->length] = octet;
        decoder->length += 1u;
    } else {
        decoder->spoiled = 1u;
    }
}

/* Take one octet off the line. After XB_PACKET the octets stand in the decoder until the next call;
 * the caller resets it. An empty packet, as between two delimiters, is nothing. */
xb_decoded xb_decode(xb_decoder *decoder, uint8_t octet)
{
    if (octet == 0u) {
        xb_decoded result = XB_PACKET;

        if (decoder->spoiled != 0u || decoder->left != 0u) {
            result = XB_SPOILED;
        } else if (decoder->length == 0u && decoder->owed == 0u) {
            result = XB_NOTHING_YET;
        } else {
            /* whole */
        }
        if (result != XB_PACKET) {
            xb_decoder_reset(decoder);
        }
        return result;
    }
    if (decoder->left != 0u) {
        append(decoder, octet);
        decoder->left = (uint8_t)(decoder->left - 1u);
        return XB_NOTHING_YET;
    }
    if (decoder->owed != 0u) {
        append(decoder, 0u);
    }
    decoder->left = (uint8_t)(octet - 1u);
    decoder->owed = (octet != 0xFFu) ? 1u : 0u;
    return XB_NOTHING_YET;
}

/* Send a packet framed, delimiter included. */
void xb_send_framed(const uint8_t *octets, uint32_t count)
{
    static const uint8_t delimiter = 0u;
    uint32_t at = 0u;
    uint32_t more = 1u;

    while (more != 0u) {
        uint32_t run = 0u;
        uint8_t code;

        while (run < LONGEST_BLOCK && at + run < count && octets[at + run] != 0u) {
            run++;
        }
        code = (uint8_t)(run + 1u);
        xb_port_write(&code, 1u);
        if (run != 0u) {
            xb_port_write(&octets[at], run);
        }
        at += run;
        if (run == LONGEST_BLOCK) {
            more = (at < count) ? 1u : 0u; /* a full block stands for no zero */
        } else if (at < count) {
            at += 1u; /* the zero this block stands for; one at the very end opens a last block */
        } else {
            more = 0u;
        }
    }
    xb_port_write(&delimiter, 1u);
}
