/* The control tick: faults, then the power mode, then the functions in their order (rule 3). */
#ifndef XB_CONTROL_H
#define XB_CONTROL_H

#include "interface.h"

void xb_control_reset(xb_engine *engine);
void xb_control_tick(xb_engine *engine);
void xb_control_recall(xb_engine *engine, uint8_t power_on);

#endif
