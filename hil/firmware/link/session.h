/* One session's packets in both directions: numbered, kept until acknowledged, repeated on demand.
 *
 * - Requests are taken in order of their numbers, each exactly once; a repeated one is counted and
 *   changes nothing. XB_LINK_SLOTS of them may wait.
 * - Replies are kept until the host acknowledged them, so that repeating costs no second execution.
 *   Without a free slot nothing is executed.
 * - Numbers are 16 bit and wrap; a distance below 32768 lies ahead. */
#ifndef XB_SESSION_H
#define XB_SESSION_H

#include <stdint.h>

#include "memory.h"

/* What the board counted since it started; every count stays at its maximum. */
typedef struct {
    uint32_t ticks;     /* ticks run */
    uint32_t damaged;   /* packets that failed framing, check or length */
    uint32_t gaps;      /* requests ahead of the expected one */
    uint32_t repeats;   /* requests that had arrived before */
    uint32_t no_room;   /* requests beyond the window */
    uint32_t strangers; /* packets of another session */
    uint32_t resent;    /* replies sent again */
} xb_link_counts;

/* A packet that is kept: header, payload; the check is added on the way out. */
typedef struct {
    uint8_t octets[XB_LINK_PACKET];
    uint32_t length; /* header and payload */
} xb_packet;

/* The session.
 *
 * - nonce names it, 0 = none yet;
 * - expected is the number of the next request, working the one being executed; requests wait in
 *   slot number % XB_LINK_SLOTS;
 * - reply_next is the number of the next reply, reply_base the oldest not acknowledged; replies
 *   are kept likewise; writing is 1 while reply_next is being filled;
 * - gap_told is 1 when the host knows of the present gap;
 * - requests_check, replies_check are running CRC-32 registers over kind, flags and payload of the
 *   requests taken up and the replies closed. */
typedef struct {
    uint16_t nonce;
    uint16_t expected;
    uint16_t working;
    uint16_t reply_next;
    uint16_t reply_base;
    uint8_t writing;
    uint8_t gap_told;
    uint32_t requests_check;
    uint32_t replies_check;
    xb_packet requests[XB_LINK_SLOTS];
    xb_packet replies[XB_LINK_SLOTS];
} xb_session;

void xb_session_start(xb_session *session, uint16_t nonce);
void xb_session_acknowledged(xb_session *session, uint16_t number);
uint8_t xb_session_take(xb_session *session, const uint8_t *packet, uint32_t length,
                        xb_link_counts *counts);
const xb_packet *xb_session_request(xb_session *session);
void xb_session_begun(xb_session *session);
void xb_session_done(xb_session *session);
uint32_t xb_session_room(const xb_session *session);
uint8_t *xb_session_put(xb_session *session, uint8_t kind, uint32_t count);
void xb_session_close(xb_session *session, uint8_t kind, uint8_t flags);
void xb_session_repeat(xb_session *session, xb_link_counts *counts);
void xb_session_control(const xb_session *session, uint8_t kind, const uint8_t *payload,
                        uint32_t count);
void xb_tally(uint32_t *count);

#endif
