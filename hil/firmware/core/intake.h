/* From frames to quantities: the receiving half of the engine (rules 3, 5 to 8 and 10). */
#ifndef XB_INTAKE_H
#define XB_INTAKE_H

#include "interface.h"

int32_t xb_intake_receive(xb_engine *engine, const xb_frame *frame);
void xb_intake_deadlines(xb_engine *engine);
void xb_intake_quantities(xb_engine *engine);
void xb_intake_look_at_everything(xb_engine *engine);

#endif
