/* Telling: what a tick put out, as records, as far as it is news and there is room. */
#include "telling.h"

#include "octets.h"
#include "xb_packets.h"

#define MOST_QUIET 0xFFFFu
#define RESULT ((uint8_t)XB_KIND_RESULT)

/* Write the count of quiet ticks out. */
void xb_flush_ticks(xb_work *work, xb_session *session)
{
    if (work->quiet == 0u) {
        return;
    }
    if (work->quiet <= XB_MOST_SHORT_TICKS) {
        uint8_t *place = xb_session_put(session, RESULT, 1u);

        place[0] = (uint8_t)(XB_OP_SHORT_TICKS + (work->quiet - 1u));
    } else {
        uint8_t *place = xb_session_put(session, RESULT, XB_TICKS_RECORD_OCTETS);

        place[0] = (uint8_t)XB_OP_TICKS;
        xb_put_number(&place[XB_TICKS_RECORD_AT_TICKS], work->quiet, 2u);
    }
    work->quiet = 0u;
}

/* Return the place of a record that tells something of the tick after the quiet ones. */
uint8_t *xb_tell(xb_work *work, xb_session *session, uint32_t op, uint32_t octets)
{
    uint8_t *place;

    xb_flush_ticks(work, session);
    place = xb_session_put(session, RESULT, octets);
    place[0] = (uint8_t)op;
    return place;
}

/* Tell of a frame that left, or in a free run of one that arrived. */
static void tell_frame(xb_work *work, xb_session *session, const xb_frame *frame)
{
    uint32_t op = XB_OP_FRAME + frame->length;
    uint32_t identifier_octets = 2u;
    uint32_t used = (frame->length > XB_MAX_DATA_LENGTH) ? XB_MAX_DATA_LENGTH : frame->length;
    uint8_t *place;

    if (frame->bus == (uint8_t)XB_ENGINE) {
        op += XB_OP_FRAME_ENGINE;
    }
    if (frame->extended != 0u) {
        op += XB_OP_FRAME_EXTENDED;
        identifier_octets = 4u;
    }
    place = xb_tell(work, session, op, 1u + identifier_octets + used);
    xb_put_number(&place[1], frame->identifier, identifier_octets);
    for (uint32_t i = 0u; i < used; i++) {
        place[1u + identifier_octets + i] = frame->data[i];
    }
}

/* Tell of a level output when it is news. */
static void tell_level(xb_work *work, xb_session *session, uint32_t index)
{
    if (work->told == 0u || work->levels[index] != work->outputs.levels[index]) {
        uint8_t *place = xb_tell(work, session, XB_OP_LEVEL, XB_LEVEL_RECORD_OCTETS);

        place[XB_LEVEL_RECORD_AT_INDEX] = (uint8_t)index;
        place[XB_LEVEL_RECORD_AT_VALUE] = work->outputs.levels[index];
        work->levels[index] = work->outputs.levels[index];
    }
}

/* Tell of a duty output when it is news. */
static void tell_duty(xb_work *work, xb_session *session, uint32_t index)
{
    if (work->told == 0u || work->duty[index] != work->outputs.duty[index]) {
        uint8_t *place = xb_tell(work, session, XB_OP_DUTY, XB_DUTY_RECORD_OCTETS);

        place[XB_DUTY_RECORD_AT_INDEX] = (uint8_t)index;
        xb_put_number(&place[XB_DUTY_RECORD_AT_VALUE], work->outputs.duty[index], 2u);
        work->duty[index] = work->outputs.duty[index];
    }
}

/* Tell of a frequency output when it is news. */
static void tell_frequency(xb_work *work, xb_session *session, uint32_t index)
{
    if (work->told == 0u || work->frequency[index] != work->outputs.frequency[index]) {
        uint8_t *place = xb_tell(work, session, XB_OP_FREQUENCY, XB_FREQUENCY_RECORD_OCTETS);

        place[XB_FREQUENCY_RECORD_AT_INDEX] = (uint8_t)index;
        xb_put_number(&place[XB_FREQUENCY_RECORD_AT_VALUE], work->outputs.frequency[index], 4u);
        work->frequency[index] = work->outputs.frequency[index];
    }
}

/* Tell of the command to a bus when it is news. */
static void tell_command(xb_work *work, xb_session *session, uint32_t bus)
{
    if (work->told == 0u || work->commands[bus] != work->outputs.commands[bus]) {
        uint8_t *place = xb_tell(work, session, XB_OP_COMMAND, XB_COMMAND_RECORD_OCTETS);

        place[XB_COMMAND_RECORD_AT_BUS] = (uint8_t)bus;
        place[XB_COMMAND_RECORD_AT_VALUE] = work->outputs.commands[bus];
        work->commands[bus] = work->outputs.commands[bus];
    }
}

/* Tell of the power hold when it is news. */
static void tell_hold(xb_work *work, xb_session *session)
{
    if (work->told == 0u || work->power_hold != work->outputs.power_hold) {
        uint8_t *place = xb_tell(work, session, XB_OP_HOLD, XB_HOLD_RECORD_OCTETS);

        place[XB_HOLD_RECORD_AT_VALUE] = work->outputs.power_hold;
        work->power_hold = work->outputs.power_hold;
    }
}

/* Return how many frames a tick handed over to a bus. */
static uint32_t frames_of(const xb_work *work, uint32_t bus)
{
    uint32_t count = work->outputs.frame_counts[bus];

    return (count < XB_FRAME_SLOTS) ? count : XB_FRAME_SLOTS;
}

/* Tell of one thing of a tick: its frames bus by bus, then pins, commands and the power hold.
 * Returns 0 behind the last. */
static uint8_t tell_item(xb_work *work, xb_session *session, uint32_t number)
{
    uint32_t item = number;

    for (uint32_t bus = 0u; bus < XB_BUSES; bus++) {
        if (item < frames_of(work, bus)) {
            tell_frame(work, session, &work->outputs.frames[bus][item]);
            return 1u;
        }
        item -= frames_of(work, bus);
    }
    if (item < XB_LEVEL_OUTPUT_SLOTS) {
        tell_level(work, session, item);
        return 1u;
    }
    item -= XB_LEVEL_OUTPUT_SLOTS;
    if (item < XB_DUTY_SLOTS) {
        tell_duty(work, session, item);
        return 1u;
    }
    item -= XB_DUTY_SLOTS;
    if (item < XB_FREQUENCY_SLOTS) {
        tell_frequency(work, session, item);
        return 1u;
    }
    item -= XB_FREQUENCY_SLOTS;
    if (item < XB_BUSES) {
        tell_command(work, session, item);
        return 1u;
    }
    if (item == XB_BUSES) {
        tell_hold(work, session);
        return 1u;
    }
    return 0u;
}

/* Go on telling what the tick put out, as far as there is room. */
void xb_go_on_telling(xb_work *work, xb_session *session)
{
    while (xb_session_room(session) != 0u) {
        if (tell_item(work, session, work->item) == 0u) {
            work->telling = 0u;
            work->told = 1u;
            work->quiet += 1u;
            if (work->quiet == MOST_QUIET) {
                xb_flush_ticks(work, session);
            }
            return;
        }
        work->item += 1u;
    }
}
