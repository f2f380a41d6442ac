/* Torque request of stability control or gearbox: carried unaltered, answered honestly.
 *
 * The number goes on as it came, or "no request" stands in its place: when it is lost, not active,
 * or the ignition is off (rule 11). The answer never says "fulfilled" of what was not seen in the
 * torque. */
#ifndef XB_TORQUE_REQUEST_H
#define XB_TORQUE_REQUEST_H

#include "power.h"
#include "quantities.h"

/* What the asking control unit is told. */
typedef enum {
    XB_TORQUE_NO_REQUEST = 0,
    XB_TORQUE_FULFILLED = 1,
    XB_TORQUE_BEING_FULFILLED = 2,
    XB_TORQUE_NOT_FULFILLED = 3,
    XB_TORQUE_NOT_KNOWN = 4
} xb_torque_answer;

/* Quantity indices (XB_NONE = absent) of one resolution; `settle` in control ticks.
 *
 * A reduction (`increase` 0) is fulfilled at or below the request plus `tolerance`, an increase at
 * or above it minus `tolerance`. `friction` is the drag torque, a positive number: no reduction
 * reaches below minus friction, no increase above `maximum`. */
typedef struct {
    int32_t no_request;
    int32_t maximum;
    int32_t friction;
    int64_t tolerance;
    uint32_t settle;
    uint16_t request;
    uint16_t active;
    uint16_t carried;
    uint16_t carried_active;
    uint16_t answer;
    uint16_t actual;
    uint8_t increase;
} xb_torque_request_spec;

void xb_torque_request_step(const xb_torque_request_spec *spec, xb_torque_request_state *state,
                            const xb_store *store, const xb_power_state *power);

#endif
