/* One session's packets in both directions: numbered, kept until acknowledged, repeated on demand. */
#include "session.h"

#include "cobs.h"
#include "fields.h"
#include "octets.h"

#define HALF 0x8000u

/* Count one; a count stays at its maximum. */
void xb_tally(uint32_t *count)
{
    if (*count != UINT32_MAX) {
        *count += 1u;
    }
}

/* Return how far ahead number `later` is of number `earlier`, round the wrap. */
static uint32_t ahead(uint16_t later, uint16_t earlier)
{
    return ((uint32_t)later - (uint32_t)earlier) & 0xFFFFu;
}

/* Start anew: nothing waiting, nothing kept, all numbers zero. */
void xb_session_start(xb_session *session, uint16_t nonce)
{
    session->nonce = nonce;
    session->expected = 0u;
    session->working = 0u;
    session->reply_next = 0u;
    session->reply_base = 0u;
    session->writing = 0u;
    session->gap_told = 0u;
    session->requests_check = UINT32_MAX;
    session->replies_check = UINT32_MAX;
}

/* The host has every reply below `number`: their slots are free. */
void xb_session_acknowledged(xb_session *session, uint16_t number)
{
    uint32_t kept = ahead(session->reply_next, session->reply_base);

    if (ahead(number, session->reply_base) <= kept) {
        session->reply_base = number;
    }
}

/* Take a sequenced packet. Returns 1 when the host has to be told of a gap. */
uint8_t xb_session_take(xb_session *session, const uint8_t *packet, uint32_t length,
                        xb_link_counts *counts)
{
    uint16_t number = (uint16_t)xb_get_number(&packet[XB_HEADER_AT_SEQUENCE], 2u);
    uint32_t distance = ahead(number, session->expected);
    uint8_t tell = 0u;

    if (distance >= HALF) {
        xb_tally(&counts->repeats);
    } else if (distance != 0u) {
        xb_tally(&counts->gaps);
        tell = (session->gap_told == 0u) ? 1u : 0u;
        session->gap_told = 1u;
    } else if (ahead(session->expected, session->working) >= XB_LINK_SLOTS) {
        xb_tally(&counts->no_room);
    } else {
        xb_packet *slot = &session->requests[number % XB_LINK_SLOTS];

        for (uint32_t i = 0u; i < length; i++) {
            slot->octets[i] = packet[i];
        }
        slot->length = length;
        session->expected = (uint16_t)(session->expected + 1u);
        session->gap_told = 0u;
    }
    return tell;
}

/* Return the request whose turn it is, or NULL. */
const xb_packet *xb_session_request(xb_session *session)
{
    if (session->working == session->expected) {
        return 0;
    }
    return &session->requests[session->working % XB_LINK_SLOTS];
}

/* Put kind, flags and payload of a packet into a running CRC-32. */
static uint32_t checked(uint32_t crc, const xb_packet *packet)
{
    crc = xb_crc32_octet(crc, packet->octets[XB_HEADER_AT_KIND]);
    crc = xb_crc32_octet(crc, packet->octets[XB_HEADER_AT_FLAGS]);
    for (uint32_t i = XB_HEADER_OCTETS; i < packet->length; i++) {
        crc = xb_crc32_octet(crc, packet->octets[i]);
    }
    return crc;
}

/* The execution of the request whose turn it is begins. */
void xb_session_begun(xb_session *session)
{
    session->requests_check =
        checked(session->requests_check, &session->requests[session->working % XB_LINK_SLOTS]);
}

/* The request whose turn it was is done with. */
void xb_session_done(xb_session *session)
{
    session->working = (uint16_t)(session->working + 1u);
}

/* Return how many reply packets can be begun beside the one being filled. */
uint32_t xb_session_room(const xb_session *session)
{
    uint32_t kept = ahead(session->reply_next, session->reply_base) + session->writing;

    return XB_LINK_SLOTS - kept;
}

/* Write header and check of a packet and send it. */
static void send(const xb_session *session, uint8_t *octets, uint32_t length)
{
    xb_put_number(&octets[XB_HEADER_AT_NONCE], session->nonce, 2u);
    xb_put_number(&octets[XB_HEADER_AT_ACKNOWLEDGE], session->expected, 2u);
    xb_put_number(&octets[XB_HEADER_AT_LENGTH], length - XB_HEADER_OCTETS, 2u);
    xb_put_number(&octets[length], xb_crc16(octets, length), XB_CHECK_OCTETS);
    xb_send_framed(octets, length + XB_CHECK_OCTETS);
}

/* Return the place for `count` octets of payload in the reply being filled. One that is too full is
 * sent and the next begun; the caller has made sure of the room. */
uint8_t *xb_session_put(xb_session *session, uint8_t kind, uint32_t count)
{
    xb_packet *slot = &session->replies[session->reply_next % XB_LINK_SLOTS];
    uint8_t *place;

    if (session->writing != 0u &&
        slot->length + count > (XB_LINK_PACKET - XB_CHECK_OCTETS)) {
        xb_session_close(session, kind, 0u);
        slot = &session->replies[session->reply_next % XB_LINK_SLOTS];
    }
    if (session->writing == 0u) {
        session->writing = 1u;
        slot->length = XB_HEADER_OCTETS;
    }
    place = &slot->octets[slot->length];
    slot->length += count;
    return place;
}

/* Send the reply being filled, an empty one when nothing was put. */
void xb_session_close(xb_session *session, uint8_t kind, uint8_t flags)
{
    xb_packet *slot = &session->replies[session->reply_next % XB_LINK_SLOTS];

    if (session->writing == 0u) {
        slot->length = XB_HEADER_OCTETS;
    }
    slot->octets[XB_HEADER_AT_KIND] = kind;
    slot->octets[XB_HEADER_AT_FLAGS] = flags;
    xb_put_number(&slot->octets[XB_HEADER_AT_SEQUENCE], session->reply_next, 2u);
    session->replies_check = checked(session->replies_check, slot);
    session->writing = 0u;
    session->reply_next = (uint16_t)(session->reply_next + 1u);
    send(session, slot->octets, slot->length);
}

/* Send every reply again that the host has not acknowledged. */
void xb_session_repeat(xb_session *session, xb_link_counts *counts)
{
    for (uint16_t number = session->reply_base; number != session->reply_next;
         number = (uint16_t)(number + 1u)) {
        xb_packet *slot = &session->replies[number % XB_LINK_SLOTS];

        xb_tally(&counts->resent);
        send(session, slot->octets, slot->length);
    }
}

/* Send a packet without a number: banner, identity, status. At most XB_IDENTITY_OCTETS payload. */
void xb_session_control(const xb_session *session, uint8_t kind, const uint8_t *payload,
                        uint32_t count)
{
    uint8_t octets[XB_HEADER_OCTETS + XB_IDENTITY_OCTETS + XB_CHECK_OCTETS];

    octets[XB_HEADER_AT_KIND] = kind;
    octets[XB_HEADER_AT_FLAGS] = 0u;
    xb_put_number(&octets[XB_HEADER_AT_SEQUENCE], session->reply_next, 2u);
    for (uint32_t i = 0u; i < count; i++) {
        octets[XB_HEADER_OCTETS + i] = payload[i];
    }
    send(session, octets, XB_HEADER_OCTETS + count);
}
