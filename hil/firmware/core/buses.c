/* What the module learns of its bus controllers, and what it makes of it (rules 1 and 14). */
#include "buses.h"

#include "arithmetic.h"

/* Return a sum of counts, saturated to 16 bit. */
static uint16_t count_on(uint16_t value, uint8_t more)
{
    return (uint16_t)xb_saturate((int64_t)value + more, 0, UINT16_MAX);
}

/* Begin anew, at a reset or when the module wakes: listen first where the pairing says so. */
void xb_bus_start(const xb_bus_spec *spec, xb_bus_state *state)
{
    state->mode = (uint8_t)(spec->listen_first != 0u ? XB_BUS_LISTENING : XB_BUS_OPEN);
    state->reason = (uint8_t)XB_NO_REASON;
    state->wait = spec->listen_first;
    state->attempts = 0u;
    state->unacknowledged = 0u;
    state->errors = 0u;
}

/* Note that a frame arrived; return whether it is taken, 0 in a flood. */
uint8_t xb_bus_take(const xb_bus_spec *spec, xb_bus_state *state, xb_bus_arrivals *arrivals)
{
    arrivals->heard = 1u;
    state->seen |= (uint8_t)XB_FRAME_SEEN;
    if (spec->flood == 0u) {
        return 1u;
    }
    if (arrivals->taken >= spec->flood) {
        state->flooded = xb_count(state->flooded);
        state->seen |= (uint8_t)(1u << (uint32_t)XB_EVENT_FLOOD);
        return 0u;
    }
    arrivals->taken = (uint16_t)(arrivals->taken + 1u);
    return 1u;
}

/* Return the ticks to the next attempt: a few quick ones, then slow ones. */
static uint32_t interval(const xb_bus_spec *spec, const xb_bus_state *state)
{
    return state->attempts < spec->quick_attempts ? spec->quick : spec->slow;
}

/* Close the bus and set the time of the next attempt. */
static void close_bus(const xb_bus_spec *spec, xb_bus_state *state, xb_bus_event reason)
{
    state->mode = (uint8_t)XB_BUS_CLOSED;
    state->reason = (uint8_t)reason;
    state->closings = xb_count(state->closings);
    state->wait = interval(spec, state);
}

/* Open the bus. */
static void open_bus(xb_bus_state *state)
{
    state->mode = (uint8_t)XB_BUS_OPEN;
    state->reason = (uint8_t)XB_NO_REASON;
    state->wait = 0u;
    state->unacknowledged = 0u;
    state->errors = 0u;
}

/* Close the bus when its controller is off, nobody acknowledges, or nothing is understood. */
static void judge_open(const xb_bus_spec *spec, xb_bus_state *state, const xb_bus_input *given)
{
    if (given->state == (uint8_t)XB_BUS_OFF_STATE) {
        close_bus(spec, state, XB_EVENT_BUS_OFF);
    } else if (spec->no_acknowledge != 0u && state->unacknowledged >= spec->no_acknowledge) {
        close_bus(spec, state, XB_EVENT_NO_ACKNOWLEDGE);
    } else if (spec->wrong_rate != 0u && state->errors >= spec->wrong_rate) {
        close_bus(spec, state, XB_EVENT_WRONG_BIT_RATE);
        state->mode = (uint8_t)XB_BUS_LISTENING;
        state->wait = 0u;
    } else {
        /* it stays open */
    }
}

/* Wait for the next attempt, or for the proof that it is not needed. */
static xb_bus_command wait_closed(const xb_bus_spec *spec, xb_bus_state *state,
                                  const xb_bus_input *given, uint8_t heard)
{
    uint8_t recovered = given->state != (uint8_t)XB_BUS_OFF_STATE;

    if (recovered != 0u && (state->reason == (uint8_t)XB_EVENT_BUS_OFF || heard != 0u)) {
        open_bus(state);
        return XB_COMMAND_NORMAL;
    }
    state->wait -= 1u;
    if (state->wait > 0u) {
        return XB_COMMAND_LISTEN;
    }
    state->attempts = xb_count(state->attempts);
    state->wait = interval(spec, state);
    if (recovered != 0u) {
        open_bus(state); /* frames leave from the next tick on; what becomes of them decides */
    }
    return XB_COMMAND_RECOVER;
}

/* Listen until a good frame; at a start, until the time is over and nothing disturbed. */
static xb_bus_command listen(xb_bus_state *state, uint8_t heard)
{
    if (state->wait > 0u) {
        state->wait -= 1u;
        if (state->wait == 0u && state->errors > 0u) {
            state->reason = (uint8_t)XB_EVENT_WRONG_BIT_RATE;
        }
    }
    if (heard != 0u || (state->wait == 0u && state->reason == XB_NO_REASON)) {
        open_bus(state);
        return XB_COMMAND_NORMAL;
    }
    return XB_COMMAND_LISTEN;
}

/* Run one tick; return the command to the driver. */
uint8_t xb_bus_step(const xb_bus_spec *spec, xb_bus_state *state, xb_bus_arrivals *arrivals,
                    const xb_bus_input *given)
{
    xb_bus_command command = XB_COMMAND_NORMAL;
    uint8_t heard = arrivals->heard;

    arrivals->heard = 0u;
    arrivals->taken = 0u;
    if (spec->supervised == 0u) {
        return (uint8_t)XB_COMMAND_NORMAL;
    }

    /* PROOF that somebody is there and understands */
    if (heard != 0u || given->acknowledged != 0u) {
        state->attempts = 0u;
        state->unacknowledged = 0u;
    } else {
        state->unacknowledged = count_on(state->unacknowledged, given->unacknowledged);
    }
    state->errors = heard != 0u ? (uint16_t)0u : count_on(state->errors, given->errors);

    /* OPEN, CLOSED, LISTENING */
    if (state->mode == (uint8_t)XB_BUS_OPEN) {
        judge_open(spec, state, given);
        if (state->mode != (uint8_t)XB_BUS_OPEN) {
            command = XB_COMMAND_LISTEN;
        }
    } else if (state->mode == (uint8_t)XB_BUS_CLOSED) {
        command = wait_closed(spec, state, given, heard);
    } else {
        command = listen(state, heard);
    }

    /* SEEN */
    if (state->mode != (uint8_t)XB_BUS_OPEN && state->reason != XB_NO_REASON) {
        state->seen |= (uint8_t)(1u << state->reason);
    }
    if (given->state == (uint8_t)XB_ERROR_PASSIVE_STATE) {
        state->seen |= (uint8_t)(1u << (uint32_t)XB_EVENT_ERROR_PASSIVE);
    }
    return (uint8_t)command;
}
