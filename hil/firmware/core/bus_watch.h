/* The buses of one engine: their states and commands, tick by tick (rule 14). */
#ifndef XB_BUS_WATCH_H
#define XB_BUS_WATCH_H

#include "interface.h"
#include "xlate_bridge.h"

uint8_t xb_bus_watch_take(xb_engine *engine, const xb_frame *frame);
void xb_bus_watch_read(xb_engine *engine, const xb_inputs *inputs);
uint8_t xb_bus_watch_heard(const xb_engine *engine);
void xb_bus_watch_forget_seen(xb_engine *engine);
void xb_bus_watch_sleep(xb_engine *engine);
void xb_bus_watch_wake(xb_engine *engine);

#endif
