/* Framing: COBS (Cheshire and Baker 1999). No octet of a framed packet is zero; zero ends it. */
#ifndef XB_COBS_H
#define XB_COBS_H

#include <stdint.h>

#include "memory.h"

/* A packet that is arriving.
 *
 * - length octets are decoded so far;
 * - left octets of the current block are still to come;
 * - owed is 1 when the next block is preceded by a zero;
 * - spoiled is 1 when what came since the last delimiter cannot be a packet. */
typedef struct {
    uint8_t octets[XB_LINK_PACKET];
    uint32_t length;
    uint8_t left;
    uint8_t owed;
    uint8_t spoiled;
} xb_decoder;

/* What an octet completed. */
typedef enum { XB_NOTHING_YET = 0, XB_PACKET = 1, XB_SPOILED = 2 } xb_decoded;

void xb_decoder_reset(xb_decoder *decoder);
xb_decoded xb_decode(xb_decoder *decoder, uint8_t octet);
void xb_send_framed(const uint8_t *octets, uint32_t count);

#endif
