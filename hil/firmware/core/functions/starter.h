/* Starter: one press of the button cranks until the engine runs, within limits.
 *
 * Rule 11: off when a permission is lost. A button that is pressed at power-on, or after reset,
 * does nothing until it was released. An engine speed that is not known counts as turning. */
#ifndef XB_STARTER_H
#define XB_STARTER_H

#include "power.h"
#include "quantities.h"

/* What became of the last press of the button. */
typedef enum {
    XB_STARTER_NOT_PRESSED = 0,
    XB_STARTER_CRANKING = 1,
    XB_STARTER_STARTED = 2,
    XB_STARTER_LIMIT_REACHED = 3,
    XB_STARTER_PERMISSION_WITHDRAWN = 4,
    XB_STARTER_SPEED_LOST = 5,
    XB_STARTER_REFUSED_NO_PERMISSION = 6,
    XB_STARTER_REFUSED_TURNING = 7,
    XB_STARTER_REFUSED_RESTING = 8
} xb_starter_outcome;

/* Quantity indices (XB_NONE = absent), speeds in steps of engine speed, times in control ticks.
 *
 * - permission: every quantity of `all_of` and, where there are any, one of `any_of` is not 0;
 * - no crank begins at or above `turning_above`, it ends at or above `release_above`;
 * - `rest` follows every crank, `limit_rest` one that reached `max_crank`;
 * - with `while_pressed` the button must stay pressed. */
typedef struct {
    const uint16_t *all_of;
    const uint16_t *any_of;
    uint32_t all_count;
    uint32_t any_count;
    int32_t outcome;
    int32_t turning_above;
    int32_t release_above;
    uint32_t max_crank;
    uint32_t rest;
    uint32_t limit_rest;
    uint16_t button;
    uint16_t engine_speed;
    uint16_t output;
    uint8_t while_pressed;
} xb_starter_spec;

void xb_starter_step(const xb_starter_spec *spec, xb_starter_state *state, const xb_store *store,
                     const xb_power_state *power);

#endif
