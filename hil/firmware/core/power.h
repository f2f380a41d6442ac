/* Power modes from ignition, accessory, crank request and engine speed (rule 14).
 *
 * An ignition cycle begins when ignition comes on after having been off for a set time; a bounce or
 * a reset begins none (rule 9). The module sleeps when it is off and both buses are silent; it wakes
 * by a pin or a bus, and never keeps the car awake. */
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

/* When the module sleeps, and what wakes it. Times in control ticks.
 *
 * - after: both buses silent so long while the mode is off;
 * - quiet_after: own messages go on so long in mode off, then cease; never in sleep;
 * - wake_buses: one bit a bus whose frames wake;
 * - wake: quantities that wake when they become nonzero. One that stays so does not. */
typedef struct {
    const uint16_t *wake;
    uint32_t wake_count;
    uint32_t after;
    uint32_t quiet_after;
    uint8_t wake_buses;
} xb_sleep_spec;

#define XB_WOKEN_BY_PIN 1u
#define XB_WOKEN_BY_BUS 2u /* plus the number of the bus */

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
    const xb_sleep_spec *sleep; /* or NULL */
    uint8_t kept;               /* ignition cycle and power hold survive a reset */
} xb_power_spec;

uint8_t xb_ignition_is_on(const xb_power_state *state);
uint8_t xb_holds_power(const xb_power_state *state);
void xb_sleep_or_wake(const xb_sleep_spec *spec, xb_sleep_state *state, xb_power_state *power,
                      uint8_t was_asleep, uint8_t heard, const xb_store *store);
void xb_power_recall(const xb_power_spec *spec, xb_power_state *state, uint8_t power_on);
void xb_power_step(const xb_power_spec *spec, xb_power_state *state, const xb_store *store);

#endif
