/* The link: the core behind a serial line, as hil/PROTOCOL.md says byte for byte. */
#include "cobs.h"
#include "octets.h"
#include "session.h"
#include "work.h"
#include "xb_link.h"
#include "xb_packets.h"
#include "xb_port.h"
#include "xlate_bridge.h"

#include <stddef.h>

#define CHUNK 64u
#define ROOM 2u /* reply packets that one step may need beside the one being filled */

static xb_decoder decoder;
static xb_session session;
static xb_work work;
static xb_link_counts counts;
static uint32_t cause;
static uint32_t boots;
static uint8_t begun;    /* the request whose turn it is has begun */
static uint8_t survives; /* what xb_port_lasting holds is from before the start */

/* Send who this is: as banner after the start, as identity in answer to hello. */
static void send_identity(uint8_t kind)
{
    static const char name[] = XB_BOARD_NAME;
    uint8_t payload[XB_IDENTITY_OCTETS];
    const uint8_t *digest = xb_pairing();

    payload[XB_IDENTITY_AT_LINK] = (uint8_t)XB_LINK_VERSION;
    payload[XB_IDENTITY_AT_FIRMWARE_MAJOR] = (uint8_t)XB_FIRMWARE_MAJOR;
    payload[XB_IDENTITY_AT_FIRMWARE_MINOR] = (uint8_t)XB_FIRMWARE_MINOR;
    payload[XB_IDENTITY_AT_FIRMWARE_PATCH] = (uint8_t)XB_FIRMWARE_PATCH;
    xb_put_number(&payload[XB_IDENTITY_AT_RULES], xb_rules(), 2u);
    xb_put_number(&payload[XB_IDENTITY_AT_TICK_MS], XB_TICK_MS, 2u);
    xb_put_number(&payload[XB_IDENTITY_AT_IMAGE_OCTETS], XB_IMAGE_OCTETS, 2u);
    xb_put_number(&payload[XB_IDENTITY_AT_PACKET_OCTETS], XB_LINK_PACKET, 2u);
    xb_put_number(&payload[XB_IDENTITY_AT_SLOTS], XB_LINK_SLOTS, 2u);
    xb_put_number(&payload[XB_IDENTITY_AT_RING_OCTETS], xb_port_ring(), 4u);
    xb_put_number(&payload[XB_IDENTITY_AT_BOOTS], boots, 4u);
    payload[XB_IDENTITY_AT_CAUSE] = (uint8_t)cause;
    for (uint32_t i = 0u; i < 32u; i++) {
        payload[XB_IDENTITY_AT_PAIRING + i] = digest[i];
    }
    for (uint32_t i = 0u; i < 16u; i++) {
        payload[XB_IDENTITY_AT_BOARD + i] = (i < sizeof name) ? (uint8_t)name[i] : 0u;
    }
    xb_session_control(&session, kind, payload, XB_IDENTITY_OCTETS);
}

/* Send what was counted; its header says which request is expected. */
static void send_status(void)
{
    uint8_t payload[XB_STATUS_OCTETS];

    xb_put_number(&payload[XB_STATUS_AT_BOOTS], boots, 4u);
    payload[XB_STATUS_AT_CAUSE] = (uint8_t)cause;
    xb_put_number(&payload[XB_STATUS_AT_TICKS], counts.ticks, 4u);
    xb_put_number(&payload[XB_STATUS_AT_OVERRUNS], xb_port_overruns(), 4u);
    xb_put_number(&payload[XB_STATUS_AT_LINE_ERRORS], xb_port_errors(), 4u);
    xb_put_number(&payload[XB_STATUS_AT_DAMAGED], counts.damaged, 4u);
    xb_put_number(&payload[XB_STATUS_AT_GAPS], counts.gaps, 4u);
    xb_put_number(&payload[XB_STATUS_AT_REPEATS], counts.repeats, 4u);
    xb_put_number(&payload[XB_STATUS_AT_NO_ROOM], counts.no_room, 4u);
    xb_put_number(&payload[XB_STATUS_AT_STRANGERS], counts.strangers, 4u);
    xb_put_number(&payload[XB_STATUS_AT_RESENT], counts.resent, 4u);
    xb_put_number(&payload[XB_STATUS_AT_CYCLES], xb_port_cycles(), 4u);
    xb_session_control(&session, (uint8_t)XB_KIND_STATUS, payload, XB_STATUS_OCTETS);
}

/* Put core and session to their start. The memory that survived the board's restart is there until
 * the core is run or reset; from then on it is the host that decides. */
static void start_over(uint16_t nonce)
{
    survives = (work.has_run == 0u) ? survives : 0u;
    xb_session_start(&session, nonce);
    xb_work_start(&work);
    begun = 0u;
    xb_reset((xb_reset_cause)cause, (survives != 0u) ? xb_lasting_find(xb_port_lasting()) : NULL);
}

/* Start the link and the core, and send the boot banner. */
void xb_link_start(uint32_t reset_cause, uint32_t boot_count)
{
    static const xb_link_counts none = {0};
    static const uint8_t delimiter = 0u;

    cause = (reset_cause <= (uint32_t)XB_RESET_COMMANDED) ? reset_cause : 0u;
    boots = boot_count;
    counts = none;
    survives = (cause != (uint32_t)XB_RESET_POWER_ON) ? 1u : 0u;
    work.has_run = 0u;
    xb_decoder_reset(&decoder);
    start_over(0u);
    xb_port_write(&delimiter, 1u); /* ends whatever the line carried while we started */
    send_identity((uint8_t)XB_KIND_BANNER);
}

/* Answer hello: a new nonce starts a new session, the present one is a hello that came twice. */
static void take_hello(uint16_t nonce)
{
    if (nonce == 0u) {
        xb_tally(&counts.strangers);
        return;
    }
    if (nonce != session.nonce) {
        start_over(nonce);
    }
    send_identity((uint8_t)XB_KIND_IDENTITY);
}

/* Return whether octets are a packet: length and check agree. */
static uint8_t is_whole(const uint8_t *octets, uint32_t length)
{
    uint32_t body;

    if (length < XB_HEADER_OCTETS + XB_CHECK_OCTETS) {
        return 0u;
    }
    body = length - XB_CHECK_OCTETS;
    if (xb_get_number(&octets[XB_HEADER_AT_LENGTH], 2u) != body - XB_HEADER_OCTETS) {
        return 0u;
    }
    return (xb_get_number(&octets[body], XB_CHECK_OCTETS) == xb_crc16(octets, body)) ? 1u : 0u;
}

/* Take a packet of this session. */
static void take_own(const uint8_t *octets, uint32_t length)
{
    uint8_t kind = octets[XB_HEADER_AT_KIND];

    xb_session_acknowledged(&session,
                            (uint16_t)xb_get_number(&octets[XB_HEADER_AT_ACKNOWLEDGE], 2u));
    if (kind >= XB_KIND_SEQUENCED) {
        if (xb_session_take(&session, octets, length, &counts) != 0u) {
            send_status();
        }
    } else if (kind == XB_KIND_POLL) {
        xb_session_repeat(&session, &counts);
        send_status();
    } else if (kind == XB_KIND_RESTART) {
        xb_port_restart();
    } else {
        /* an acknowledgement alone */
    }
}

/* Take what the decoder holds. */
static void take_packet(void)
{
    uint16_t nonce;

    if (is_whole(decoder.octets, decoder.length) == 0u) {
        xb_tally(&counts.damaged);
        return;
    }
    nonce = (uint16_t)xb_get_number(&decoder.octets[XB_HEADER_AT_NONCE], 2u);
    if (decoder.octets[XB_HEADER_AT_KIND] == XB_KIND_HELLO) {
        take_hello(nonce);
    } else if (nonce != session.nonce || nonce == 0u) {
        xb_tally(&counts.strangers);
        send_status(); /* under our own nonce: the sender sees that its session is over */
    } else {
        take_own(decoder.octets, decoder.length - XB_CHECK_OCTETS);
    }
}

/* Answer a request that is one step: state, restore, or unknown. */
static void answer(const xb_packet *request)
{
    const uint8_t *payload = &request->octets[XB_HEADER_OCTETS];
    uint32_t length = request->length - XB_HEADER_OCTETS;
    uint8_t kind = request->octets[XB_HEADER_AT_KIND];
    uint8_t reply = (uint8_t)XB_KIND_REFUSED;

    if (kind == XB_KIND_STATE && length == XB_STATE_OCTETS) {
        uint32_t first = xb_get_number(&payload[XB_STATE_AT_FIRST], 2u);
        uint32_t count = xb_get_number(&payload[XB_STATE_AT_COUNT], 2u);

        if (count <= XB_PAYLOAD_ROOM - XB_STATE_PART_OCTETS && first <= XB_IMAGE_OCTETS &&
            count <= XB_IMAGE_OCTETS - first) {
            uint8_t *place = xb_session_put(&session, (uint8_t)XB_KIND_STATE_PART,
                                            XB_STATE_PART_OCTETS + count);

            xb_put_number(&place[XB_STATE_PART_AT_FIRST], first, 2u);
            xb_image_part(&place[XB_STATE_PART_OCTETS], first, count);
            reply = (uint8_t)XB_KIND_STATE_PART;
        }
    } else if (kind == XB_KIND_RESTORE && length >= XB_RESTORE_OCTETS) {
        uint32_t first = xb_get_number(&payload[XB_RESTORE_AT_FIRST], 2u);
        uint32_t count = length - XB_RESTORE_OCTETS;

        if (first <= XB_IMAGE_OCTETS && count <= XB_IMAGE_OCTETS - first) {
            uint8_t *place =
                xb_session_put(&session, (uint8_t)XB_KIND_RESTORED, XB_RESTORED_OCTETS);

            xb_restore(&payload[XB_RESTORE_OCTETS], first, count);
            work.told = 0u;
            xb_put_number(&place[XB_RESTORED_AT_DIGEST], xb_digest(), 4u);
            reply = (uint8_t)XB_KIND_RESTORED;
        }
    } else {
        /* refused below */
    }
    if (reply == XB_KIND_REFUSED) {
        uint8_t *place = xb_session_put(&session, reply, XB_REFUSED_OCTETS);

        place[XB_REFUSED_AT_REASON] =
            (uint8_t)((kind == XB_KIND_STATE || kind == XB_KIND_RESTORE)
                          ? XB_REFUSAL_OUT_OF_RANGE
                          : XB_REFUSAL_KIND_UNKNOWN);
        xb_put_number(&place[XB_REFUSED_AT_PLACE], 0u, 2u);
    }
    xb_session_close(&session, reply, (uint8_t)XB_FLAG_LAST);
}

/* Go on with the requests as far as room and patience reach. Returns 1 when something was done. */
static int go_on(void)
{
    int did = 0;

    for (uint32_t i = 0u; i < XB_LINK_BURST; i++) {
        const xb_packet *request = xb_session_request(&session);
        uint8_t done = 1u;

        if (request == 0 || xb_session_room(&session) < ROOM) {
            break;
        }
        did = 1;
        if (begun == 0u) {
            xb_session_begun(&session);
            begun = 1u;
        }
        if (request->octets[XB_HEADER_AT_KIND] == XB_KIND_WORK) {
            done = xb_work_step(&work, &session, request, &counts);
        } else {
            if (session.writing != 0u) {
                xb_session_close(&session, (uint8_t)XB_KIND_RESULT, 0u); /* of a free run */
            }
            answer(request);
        }
        if (done != 0u) {
            xb_session_done(&session);
            begun = 0u;
        }
    }
    return did;
}

/* Work on what arrived and on what was asked for. */
int xb_link_poll(void)
{
    uint8_t octets[CHUNK];
    uint32_t count = xb_port_read(octets, CHUNK);

    for (uint32_t i = 0u; i < count; i++) {
        xb_decoded decoded = xb_decode(&decoder, octets[i]);

        if (decoded == XB_PACKET) {
            take_packet();
            xb_decoder_reset(&decoder);
        } else if (decoded == XB_SPOILED) {
            xb_tally(&counts.damaged);
        } else {
            /* more to come */
        }
    }
    return (go_on() != 0 || count != 0u) ? 1 : 0;
}

/* One tick of the board's own clock has passed. */
void xb_link_clock(void)
{
    xb_work_clock(&work, &session, &counts);
}

/* Return whether a free run goes on. */
int xb_link_in_free_run(void)
{
    return (work.free_run != 0u) ? 1 : 0;
}
