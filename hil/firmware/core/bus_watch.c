/* The buses of one engine: their states and commands, tick by tick (rule 14).
 *
 * Pairings that ask for no bus states (watches_buses) have every bus commanded to work normally. */
#include "bus_watch.h"

/* Return whether a frame that arrived is taken; what a flood brings is not. */
uint8_t xb_bus_watch_take(xb_engine *engine, const xb_frame *frame)
{
    return xb_bus_take(&xb_spec.buses[frame->bus], &engine->buses[frame->bus],
                       &engine->arrivals[frame->bus]);
}

/* Work out the state of each bus from what its controller tells, and its command. */
void xb_bus_watch_read(xb_engine *engine, const xb_inputs *inputs)
{
    for (uint32_t i = 0u; i < XB_BUSES && xb_spec.watches_buses != 0u; i++) {
        if (engine->power.mode == (uint8_t)XB_ASLEEP) {
            engine->arrivals[i].heard = 0u;
            engine->arrivals[i].taken = 0u;
            engine->commands[i] = (uint8_t)XB_COMMAND_SLEEP;
        } else {
            engine->commands[i] = xb_bus_step(&xb_spec.buses[i], &engine->buses[i],
                                             &engine->arrivals[i], &inputs->buses[i]);
        }
    }
}

/* Return on which buses a frame came since the last control tick, one bit a bus. */
uint8_t xb_bus_watch_heard(const xb_engine *engine)
{
    uint8_t heard = 0u;

    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        heard |= (uint8_t)((engine->buses[i].seen & XB_FRAME_SEEN) != 0u ? 1u << i : 0u);
    }
    return heard;
}

/* Begin anew to note what is seen; faults and power mode have looked at it. */
void xb_bus_watch_forget_seen(xb_engine *engine)
{
    engine->buses[XB_BODY].seen = 0u;
    engine->buses[XB_ENGINE].seen = 0u;
}

/* Send both buses to sleep. */
void xb_bus_watch_sleep(xb_engine *engine)
{
    engine->commands[XB_BODY] = (uint8_t)XB_COMMAND_SLEEP;
    engine->commands[XB_ENGINE] = (uint8_t)XB_COMMAND_SLEEP;
}

/* Begin anew after a sleep, listening where the pairing says so. */
void xb_bus_watch_wake(xb_engine *engine)
{
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        xb_bus_start(&xb_spec.buses[i], &engine->buses[i]);
        engine->commands[i] = (uint8_t)(engine->buses[i].mode != (uint8_t)XB_BUS_OPEN
                                           ? XB_COMMAND_LISTEN
                                           : XB_COMMAND_NORMAL);
    }
}
