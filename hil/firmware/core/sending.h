/* From quantities to frames: the sending half of the engine (rules 12 and 13). */
#ifndef XB_SENDING_H
#define XB_SENDING_H

#include "interface.h"
#include "xlate_bridge.h"

void xb_sending_route(xb_engine *engine, uint32_t message, const xb_frame *frame);
void xb_sending_transmit(xb_engine *engine, xb_outputs *outputs);
void xb_sending_look_at_everything(xb_engine *engine);

#endif
