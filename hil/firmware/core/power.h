/* Power modes from ignition, accessory, crank request and engine speed (rule 14).
 *
 * An ignition cycle begins when ignition comes on after having been off for a set time; a bounce or
 * a reset begins none (rule 9). Asleep has its number and comes later. */
#ifndef XB_POWER_H
#define XB_POWER_H

#include <stdint.h>

#include "quantities.h"
#include "xb_state.h"

typedef enum {
    XB_OFF = 0,
    XB_ACCESSORY = 1,
    XB_IGNITION_ON = 2,
    XB_CRANKING = 3,
    XB_RUNNING = 4,
    XB_AFTER_RUN = 5,
    XB_ASLEEP = 6
} xb_power_mode;

/* Indices of quantities (XB_NONE = absent), thresholds in their steps, times in control ticks. */
typedef struct {
    int32_t ignition;
    int32_t accessory;
    int32_t crank;
    int32_t engine_speed;
    int32_t mode_quantity;
    int32_t supply_quantity;
    int32_t running_above;
    int32_t running_below;
    uint32_t cycle_off;
    uint32_t after_run;
    uint8_t kept; /* the ignition cycle survives a reset */
} xb_power_spec;

uint8_t xb_ignition_is_on(const xb_power_state *state);
void xb_power_recall(const xb_power_spec *spec, xb_power_state *state, uint8_t power_on);
void xb_power_step(const xb_power_spec *spec, xb_power_state *state, const xb_store *store);

#endif
