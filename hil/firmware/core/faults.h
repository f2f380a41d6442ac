/* Faults mature and heal in steps, or latch until the next ignition cycle (rule 9). */
#ifndef XB_FAULTS_H
#define XB_FAULTS_H

#include <stdint.h>

#include "xb_state.h"

/* A fault: exactly one of quantity (with its statuses, one bit each), message and bus is an index. */
typedef struct {
    int32_t quantity;
    int32_t message;
    int32_t condition;
    int32_t output;
    int32_t entry; /* of the fault memory, or XB_NONE */
    uint32_t statuses;
    int32_t up;
    int32_t down;
    int32_t bus;
    uint16_t limit;
    uint8_t latch;
    uint8_t bus_events; /* one bit each xb_bus_event that counts upwards */
} xb_fault_spec;

void xb_fault_step(const xb_fault_spec *spec, xb_fault_state *state, uint16_t worse,
                   uint16_t better, uint8_t enabled, uint8_t new_cycle);

#endif
