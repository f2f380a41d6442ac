/* Work: the records of requests executed on the core, and what comes of them as records.
 *
 * Stimulus records that stand before TICKS act on the first of these ticks. What a tick puts out is
 * told as records before the TICKS that count it, and only what changed; ticks with nothing to tell
 * are counted together. */
#ifndef XB_WORK_H
#define XB_WORK_H

#include <stdint.h>

#include "session.h"
#include "xlate_bridge.h"

/* What is told and what is underway.
 *
 * - at is the place in the request's payload, ticks_left of the TICKS record there are still to run;
 * - quiet ticks ran with nothing to tell;
 * - telling is 1 while a tick's outputs are being told, item the next of them;
 * - told is 0 until the outputs were told once since a reset;
 * - has_run is 1 when the core was run or reset since xb_work_start;
 * - free_run, since_told (ticks since the last reply left) and lost belong to the free run. */
typedef struct {
    xb_inputs inputs;
    xb_outputs outputs;
    uint32_t frequency[XB_FREQUENCY_SLOTS];
    uint16_t duty[XB_DUTY_SLOTS];
    uint8_t levels[XB_LEVEL_OUTPUT_SLOTS];
    uint8_t commands[XB_BUSES];
    uint8_t power_hold;
    uint8_t told;
    uint8_t has_run;
    uint8_t telling;
    uint8_t free_run;
    uint32_t item;
    uint32_t at;
    uint32_t ticks_left;
    uint32_t quiet;
    uint32_t since_told;
    uint32_t lost;
} xb_work;

void xb_work_start(xb_work *work);
uint8_t xb_work_step(xb_work *work, xb_session *session, const xb_packet *request,
                     xb_link_counts *counts);
void xb_work_clock(xb_work *work, xb_session *session, xb_link_counts *counts);

#endif
