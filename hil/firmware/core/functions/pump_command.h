/* Duty command to a fuel-pump driver: levels by demand, own command for off, and its answer.
 *
 * The load proves that every command lies in the driver's valid band and outside its diagnostic
 * bands. A lost demand takes the highest level: a starved engine is the worse fault. */
#ifndef XB_PUMP_COMMAND_H
#define XB_PUMP_COMMAND_H

#include "quantities.h"

/* From demand `above` on `command` is sent; left below `leave_below`. */
typedef struct {
    int32_t above;
    int32_t leave_below;
    int32_t command;
} xb_pump_level_spec;

/* Commands in steps of the output; `base` up to the first level; time in control ticks.
 *
 * The driver's `answer` (XB_NONE = absent) outside `answer_low`..`answer_high`, or lost, for
 * `answer_time` sets `answer_output` to 1 until it is good again. */
typedef struct {
    const xb_pump_level_spec *levels;
    uint32_t level_count;
    int32_t off;
    int32_t prime;
    int32_t base;
    int32_t answer;
    int32_t answer_low;
    int32_t answer_high;
    int32_t answer_output;
    uint32_t answer_time;
    uint16_t output;
    uint16_t demand;
} xb_pump_command_spec;

void xb_pump_command_step(const xb_pump_command_spec *spec, xb_pump_command_state *state,
                          const xb_store *store, uint8_t ignition, uint8_t run, uint8_t priming);

#endif
