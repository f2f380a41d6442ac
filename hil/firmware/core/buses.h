/* What the module learns of its bus controllers, and what it makes of it (rules 1 and 14).
 *
 * Each bus has its own state; nothing here looks at the other one. A bus is open, or closed for a
 * reason: bus-off and "nobody acknowledges" are tried again, quickly a few times, then slowly
 * without end; at a wrong bit rate the module only listens until a good frame comes. While a bus is
 * closed no frame is handed over: its driver drops what is pending, messages keep their slots and
 * their grid, and after the opening the newest values leave. A flood is cut off, frame by frame, on
 * its own bus. */
#ifndef XB_BUSES_H
#define XB_BUSES_H

#include <stdint.h>

#include "xb_state.h"

/* Error state of a CAN controller (ISO 11898-1). */
typedef enum { XB_ERROR_ACTIVE = 0, XB_ERROR_PASSIVE_STATE = 1, XB_BUS_OFF_STATE = 2 } xb_controller;

/* What the bridge asks of a bus driver.
 *
 * With anything but normal the driver drops the frames it has not sent yet. Listen takes frames and
 * neither sends nor acknowledges; recover, for one tick, begins a recovery from bus-off and empties
 * the driver; sleep switches the bus to its wake-up state. */
typedef enum {
    XB_COMMAND_NORMAL = 0,
    XB_COMMAND_LISTEN = 1,
    XB_COMMAND_RECOVER = 2,
    XB_COMMAND_SLEEP = 3
} xb_bus_command;

/* What a fault can watch on a bus; the numbers are bits of `seen`. */
typedef enum {
    XB_EVENT_BUS_OFF = 0,
    XB_EVENT_NO_ACKNOWLEDGE = 1,
    XB_EVENT_WRONG_BIT_RATE = 2,
    XB_EVENT_FLOOD = 3,
    XB_EVENT_SECOND_SENDER = 4,
    XB_EVENT_ERROR_PASSIVE = 5
} xb_bus_event;

#define XB_FRAME_SEEN 0x80u /* a frame came since the last control tick */
#define XB_NO_REASON 0xFFu

/* Whether frames leave, and what is waited for if not. */
typedef enum { XB_BUS_OPEN = 0, XB_BUS_CLOSED = 1, XB_BUS_LISTENING = 2 } xb_bus_mode;

/* How a bus is supervised; supervised 0 means always open. Times in ticks.
 *
 * - quick, quick_attempts, slow: from closing to the first attempts and between them;
 * - no_acknowledge: frames in a row without acknowledge that close the bus, 0 = never;
 * - wrong_rate: error frames without a good frame that make it listen only, 0 = never;
 * - listen_first: only listen so long after a start, or until a good frame; 0 = open at once;
 * - flood: frames taken in one tick, 0 = all. */
typedef struct {
    uint32_t quick;
    uint32_t slow;
    uint32_t listen_first;
    uint16_t quick_attempts;
    uint16_t no_acknowledge;
    uint16_t wrong_rate;
    uint16_t flood;
    uint8_t supervised;
} xb_bus_spec;

/* What a controller tells of since the previous tick: its error state, frames of ours that were and
 * were not acknowledged, and error frames seen while receiving. */
typedef struct {
    uint8_t state;
    uint8_t acknowledged;
    uint8_t unacknowledged;
    uint8_t errors;
} xb_bus_input;

/* The frames since the previous tick; no state of its own, since it is empty after every tick. */
typedef struct {
    uint8_t heard;
    uint16_t taken;
} xb_bus_arrivals;

void xb_bus_start(const xb_bus_spec *spec, xb_bus_state *state);
uint8_t xb_bus_take(const xb_bus_spec *spec, xb_bus_state *state, xb_bus_arrivals *arrivals);
uint8_t xb_bus_step(const xb_bus_spec *spec, xb_bus_state *state, xb_bus_arrivals *arrivals,
                    const xb_bus_input *given);

#endif
