/* Pulse output: a frequency for a tachometer or a speedometer, with a lowest and a highest one.
 *
 * Pulses per revolution or per kilometre become one exact ratio of mHz per step of the input. */
#ifndef XB_PULSE_OUTPUT_H
#define XB_PULSE_OUTPUT_H

#include "quantities.h"

/* frequency = input * a / d in mHz: none below `lowest`, never more than `highest`. */
typedef struct {
    int64_t a;
    int64_t d;
    int32_t lowest;
    int32_t highest;
    int32_t on_loss;
    uint16_t input;
    uint16_t output;
} xb_pulse_output_spec;

void xb_pulse_output_step(const xb_pulse_output_spec *spec, xb_pulse_output_state *state,
                          const xb_store *store);

#endif
