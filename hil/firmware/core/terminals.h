/* What the terminals of the module say and carry: the pin phases of a tick (rule 3). */
#ifndef XB_TERMINALS_H
#define XB_TERMINALS_H

#include "interface.h"
#include "xlate_bridge.h"

void xb_terminals_read(xb_engine *engine, const xb_inputs *inputs);
void xb_terminals_drive(const xb_engine *engine, xb_outputs *outputs);

#endif
