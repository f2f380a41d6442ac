/* Work: the records of requests executed on the core, and what comes of them as records. */
#include "work.h"

#include "octets.h"
#include "telling.h"
#include "xb_packets.h"
#include "xb_port.h"

#include <stddef.h>

#define FREE_RUN_FLUSH 16u /* ticks after which a free run hands its journal over */
#define RESULT ((uint8_t)XB_KIND_RESULT)

/* What became of a record. */
typedef enum { DONE = 0, CUT = 1, UNKNOWN = 2, RANGE = 3, NOT_NOW = 4 } outcome;

/* All inputs low, no counts, 12000 mV, nothing told yet: where the host starts too. */
void xb_work_start(xb_work *work)
{
    static const xb_work empty = {.inputs = {.supply_mv = 12000u}};

    *work = empty;
}

/* Run one tick of the core and store what it keeps. */
static void step_core(xb_work *work, xb_link_counts *counts)
{
    xb_tick(&work->inputs, &work->outputs);
    xb_tally(&counts->ticks);
    work->has_run = 1u;
    if (xb_kept_moved() != 0u) {
        xb_lasting_store(xb_port_lasting());
    }
}

/* Run one tick and tell what it put out. */
static void run_tick(xb_work *work, xb_session *session, xb_link_counts *counts)
{
    step_core(work, counts);
    work->telling = 1u;
    work->item = 0u;
    xb_go_on_telling(work, session);
}

/* Tell the digest after the ticks so far, and the checks over what went both ways (see
 * PROTOCOL.md). */
static void tell_digest(xb_work *work, xb_session *session)
{
    uint8_t *place = xb_tell(work, session, XB_OP_DIGEST, XB_DIGEST_RECORD_OCTETS);

    xb_put_number(&place[XB_DIGEST_RECORD_AT_DIGEST], xb_digest(), 4u);
    xb_put_number(&place[XB_DIGEST_RECORD_AT_REQUESTS], session->requests_check ^ UINT32_MAX, 4u);
    xb_put_number(&place[XB_DIGEST_RECORD_AT_REPLIES], session->replies_check ^ UINT32_MAX, 4u);
}

/* In a free run the journal says what came in, as it came, before the tick it acts on. */
static void journal(xb_work *work, xb_session *session, const uint8_t *record, uint32_t octets)
{
    uint8_t *place;

    if (work->free_run == 0u) {
        return;
    }
    place = xb_tell(work, session, XB_OP_INPUT, octets + XB_INPUT_RECORD_OCTETS);
    for (uint32_t i = 0u; i < octets; i++) {
        place[i + XB_INPUT_RECORD_OCTETS] = record[i];
    }
}

/* Take a frame record. */
static outcome take_frame(const uint8_t *record, uint32_t left, uint32_t *octets)
{
    uint32_t op = record[0];
    uint32_t identifier_octets = ((op & XB_OP_FRAME_EXTENDED) != 0u) ? 4u : 2u;
    uint32_t code = op & XB_OP_FRAME_LENGTH;
    uint32_t used = (code > XB_MAX_DATA_LENGTH) ? XB_MAX_DATA_LENGTH : code;
    xb_frame frame = {0};

    *octets = 1u + identifier_octets + used;
    if (left < *octets) {
        return CUT;
    }
    frame.identifier = xb_get_number(&record[1], identifier_octets);
    frame.bus = ((op & XB_OP_FRAME_ENGINE) != 0u) ? (uint8_t)XB_ENGINE : (uint8_t)XB_BODY;
    frame.extended = ((op & XB_OP_FRAME_EXTENDED) != 0u) ? 1u : 0u;
    frame.length = (uint8_t)code;
    for (uint32_t i = 0u; i < XB_MAX_DATA_LENGTH; i++) {
        frame.data[i] = (i < used) ? record[1u + identifier_octets + i] : 0xA5u;
    }
    xb_receive(&frame);
    return DONE;
}

/* Return the length of a record that is neither frame nor short ticks, 0 for an unknown one. */
static uint32_t record_octets(uint32_t op)
{
    switch (op) {
    case XB_OP_TICKS:
        return XB_TICKS_RECORD_OCTETS;
    case XB_OP_LEVEL:
        return XB_LEVEL_RECORD_OCTETS;
    case XB_OP_COUNT:
        return XB_COUNT_RECORD_OCTETS;
    case XB_OP_SUPPLY:
        return XB_SUPPLY_RECORD_OCTETS;
    case XB_OP_CONTROLLER:
        return XB_CONTROLLER_RECORD_OCTETS;
    case XB_OP_RESET:
        return XB_RESET_RECORD_OCTETS;
    case XB_OP_DIGEST:
        return 1u;
    case XB_OP_FREE_RUN:
        return XB_FREE_RUN_RECORD_OCTETS;
    default:
        return 0u;
    }
}

/* Take an input record. */
static outcome take_input(xb_work *work, const uint8_t *record)
{
    outcome result = DONE;

    switch (record[0]) {
    case XB_OP_LEVEL:
        if (record[XB_LEVEL_RECORD_AT_INDEX] < XB_LEVEL_SLOTS) {
            work->inputs.levels[record[XB_LEVEL_RECORD_AT_INDEX]] =
                (record[XB_LEVEL_RECORD_AT_VALUE] != 0u) ? 1u : 0u;
        } else {
            result = RANGE;
        }
        break;
    case XB_OP_COUNT:
        if (record[XB_COUNT_RECORD_AT_INDEX] < XB_ANALOGUE_SLOTS) {
            work->inputs.counts[record[XB_COUNT_RECORD_AT_INDEX]] =
                (uint16_t)xb_get_number(&record[XB_COUNT_RECORD_AT_VALUE], 2u);
        } else {
            result = RANGE;
        }
        break;
    case XB_OP_SUPPLY:
        work->inputs.supply_mv = xb_get_number(&record[XB_SUPPLY_RECORD_AT_VALUE], 4u);
        break;
    default:
        if (record[XB_CONTROLLER_RECORD_AT_BUS] < XB_BUSES) {
            xb_bus_input *bus = &work->inputs.buses[record[XB_CONTROLLER_RECORD_AT_BUS]];

            bus->state = record[XB_CONTROLLER_RECORD_AT_VALUE];
            bus->acknowledged = record[XB_CONTROLLER_RECORD_AT_ACKNOWLEDGED];
            bus->unacknowledged = record[XB_CONTROLLER_RECORD_AT_UNACKNOWLEDGED];
            bus->errors = record[XB_CONTROLLER_RECORD_AT_ERRORS];
        } else {
            result = RANGE;
        }
        break;
    }
    return result;
}

/* Start or end a free run. At its end the number of records that found no room is told. */
static void take_free_run(xb_work *work, xb_session *session, const uint8_t *record)
{
    if (record[XB_FREE_RUN_RECORD_AT_ON] != 0u) {
        work->free_run = 1u;
        work->lost = 0u;
        work->since_told = 0u;
    } else {
        uint8_t *place = xb_tell(work, session, XB_OP_LOST, XB_LOST_RECORD_OCTETS);

        xb_put_number(&place[XB_LOST_RECORD_AT_RECORDS], work->lost, 4u);
        work->free_run = 0u;
    }
}

/* Restart the core; `kept` says whether the memory that survives a reset survives this one. What the
 * core keeps afterwards is what a restart of the board finds. */
static void reset_core(xb_work *work, xb_reset_cause cause, uint8_t kept)
{
    xb_lasting *lasting = xb_port_lasting();

    if (kept != 0u) {
        xb_lasting_store(lasting);
        xb_reset(cause, xb_lasting_find(lasting));
    } else {
        xb_reset(cause, NULL);
    }
    xb_lasting_store(lasting);
    work->has_run = 1u;
}

/* Take a record that is neither a frame nor an input. */
static outcome take_order(xb_work *work, xb_session *session, const uint8_t *record)
{
    switch (record[0]) {
    case XB_OP_TICKS:
        work->ticks_left = xb_get_number(&record[XB_TICKS_RECORD_AT_TICKS], 2u);
        return (work->free_run != 0u) ? NOT_NOW : DONE;
    case XB_OP_RESET:
        if (work->free_run != 0u) {
            return NOT_NOW; /* the journal could not tell */
        }
        if (record[XB_RESET_RECORD_AT_CAUSE] > (uint8_t)XB_RESET_COMMANDED) {
            return RANGE;
        }
        reset_core(work, (xb_reset_cause)record[XB_RESET_RECORD_AT_CAUSE],
                   record[XB_RESET_RECORD_AT_KEPT]);
        work->told = 0u;
        return DONE;
    case XB_OP_DIGEST:
        tell_digest(work, session);
        return DONE;
    default:
        take_free_run(work, session, record);
        return DONE;
    }
}

/* Take one record; *octets is its length. */
static outcome take_record(xb_work *work, xb_session *session, const uint8_t *record,
                           uint32_t left, uint32_t *octets)
{
    uint32_t op = record[0];
    outcome result;

    if (op >= XB_OP_FRAME && op < XB_OP_SHORT_TICKS) {
        result = take_frame(record, left, octets);
    } else if (op >= XB_OP_SHORT_TICKS && op < XB_OP_SHORT_TICKS + XB_MOST_SHORT_TICKS) {
        *octets = 1u;
        work->ticks_left = (op - XB_OP_SHORT_TICKS) + 1u;
        return (work->free_run != 0u) ? NOT_NOW : DONE;
    } else {
        *octets = record_octets(op);
        if (*octets == 0u) {
            return UNKNOWN;
        }
        if (left < *octets) {
            return CUT;
        }
        if (op >= XB_OP_LEVEL && op <= XB_OP_CONTROLLER) {
            result = take_input(work, record);
        } else {
            result = take_order(work, session, record);
            return result;
        }
    }
    if (result == DONE) {
        journal(work, session, record, *octets);
    }
    return result;
}

/* Refuse the rest of a request. */
static void refuse(xb_work *work, xb_session *session, outcome why)
{
    static const uint8_t reasons[] = {0u, XB_REFUSAL_RECORD_CUT, XB_REFUSAL_RECORD_UNKNOWN,
                                      XB_REFUSAL_OUT_OF_RANGE, XB_REFUSAL_NOT_NOW};
    uint8_t *place;

    xb_flush_ticks(work, session);
    if (session->writing != 0u) {
        xb_session_close(session, RESULT, 0u);
    }
    place = xb_session_put(session, (uint8_t)XB_KIND_REFUSED, XB_REFUSED_OCTETS);
    place[XB_REFUSED_AT_REASON] = reasons[why];
    xb_put_number(&place[XB_REFUSED_AT_PLACE], work->at, 2u);
    xb_session_close(session, (uint8_t)XB_KIND_REFUSED, (uint8_t)XB_FLAG_LAST);
    work->ticks_left = 0u;
}

/* Go on with a WORK request: one tick or one record. Returns 1 when the request is done with. The
 * caller has made sure of room for two packets. */
uint8_t xb_work_step(xb_work *work, xb_session *session, const xb_packet *request,
                     xb_link_counts *counts)
{
    uint32_t end = request->length - XB_HEADER_OCTETS;
    uint32_t octets = 0u;
    outcome result;

    if (work->telling != 0u) {
        xb_go_on_telling(work, session);
        return 0u;
    }
    if (work->ticks_left != 0u) {
        run_tick(work, session, counts);
        work->ticks_left -= 1u;
        return 0u;
    }
    if (work->at >= end) {
        xb_flush_ticks(work, session);
        xb_session_close(session, RESULT, (uint8_t)XB_FLAG_LAST);
        work->at = 0u;
        return 1u;
    }
    result = take_record(work, session, &request->octets[XB_HEADER_OCTETS + work->at],
                         end - work->at, &octets);
    if (result != DONE) {
        refuse(work, session, result);
        work->at = 0u;
        return 1u;
    }
    work->at += octets;
    return 0u;
}

/* One tick of the board's own clock in a free run. Without room for its journal the tick runs all
 * the same and is counted as lost. */
void xb_work_clock(xb_work *work, xb_session *session, xb_link_counts *counts)
{
    if (work->free_run == 0u) {
        return;
    }
    if (xb_session_room(session) < XB_TICK_PACKETS + 1u) {
        step_core(work, counts);
        xb_tally(&work->lost);
        return;
    }
    run_tick(work, session, counts);
    work->since_told += 1u;
    /* a host that is slow for a while gets full packets, so that the slots last longer */
    if (work->since_told >= FREE_RUN_FLUSH && xb_session_room(session) > XB_LINK_SLOTS / 2u) {
        xb_flush_ticks(work, session);
        xb_session_close(session, RESULT, 0u);
        work->since_told = 0u;
    }
}
