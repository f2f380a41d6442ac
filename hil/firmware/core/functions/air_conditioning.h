/* Air conditioning: idle-up asked of the engine, then the clutch; off on loss of any permission.
 *
 * Rule 11: off when in doubt. A permission whose data is lost, or was never received, is withdrawn
 * at once. The clutch waits for the idle-up and for its minimum time off, which also runs after
 * reset. */
#ifndef XB_AIR_CONDITIONING_H
#define XB_AIR_CONDITIONING_H

#include "power.h"
#include "quantities.h"

/* Why the clutch is off, the first reason that applies. */
typedef enum {
    XB_COOLING_NONE = 0,
    XB_COOLING_NO_REQUEST = 1,
    XB_COOLING_NOT_RUNNING_LONG_ENOUGH = 2,
    XB_COOLING_NOT_PERMITTED = 3,
    XB_COOLING_FULL_PEDAL = 4,
    XB_COOLING_ENGINE_SPEED = 5,
    XB_COOLING_COOLANT = 6,
    XB_COOLING_PRESSURE = 7,
    XB_COOLING_EVAPORATOR = 8,
    XB_COOLING_WAITING = 9
} xb_air_conditioning_refusal;

/* Given inside `engage`, withdrawn outside `release`; both ends included; own refusal. */
typedef struct {
    int32_t engage_low;
    int32_t engage_high;
    int32_t release_low;
    int32_t release_high;
    uint16_t quantity;
    uint8_t refusal;
} xb_permission_window_spec;

/* Quantity indices (XB_NONE = absent), thresholds in their steps, times in control ticks.
 *
 * Pedal at or above `pedal_full` cuts for at least `pedal_cut`, until at or below
 * `pedal_below`. */
typedef struct {
    const xb_permission_window_spec *windows;
    uint32_t window_count;
    int32_t refusal;
    int32_t permit;
    int32_t pedal;
    int32_t pedal_full;
    int32_t pedal_below;
    uint32_t pedal_cut;
    uint32_t running_for;
    uint32_t engage_delay;
    uint32_t min_off;
    uint16_t request;
    uint16_t idle_up;
    uint16_t clutch;
} xb_air_conditioning_spec;

void xb_air_conditioning_step(const xb_air_conditioning_spec *spec,
                              xb_air_conditioning_state *state, const xb_store *store,
                              const xb_power_state *power);

#endif
