/* Engine running, told to power steering, alternator and body, each with its own timing.
 *
 * Turning is seen with hysteresis. On loss of engine speed each listener gets what the pairing
 * chose for it, with the reason in words: running, not running, or what it was told last
 * (rule 11). */
#ifndef XB_ENGINE_RUNNING_H
#define XB_ENGINE_RUNNING_H

#include "power.h"
#include "quantities.h"

/* What a listener is told while the engine speed is lost. */
typedef enum {
    XB_TOLD_NOT_RUNNING = 0,
    XB_TOLD_RUNNING = 1,
    XB_TOLD_LAST = 2
} xb_told_on_loss;

/* 0/1 to `output`, so many control ticks after the engine started or stopped. */
typedef struct {
    uint32_t on_delay;
    uint32_t off_delay;
    uint16_t output;
    uint8_t on_loss;
} xb_listener_spec;

/* Running at or above `running_above`, not below `running_below`, steps of engine speed.
 * `first_listener` is the place of its first listener among those of all. */
typedef struct {
    const xb_listener_spec *listeners;
    uint32_t listener_count;
    uint32_t first_listener;
    int32_t running_above;
    int32_t running_below;
    uint16_t engine_speed;
} xb_engine_running_spec;

void xb_engine_running_step(const xb_engine_running_spec *spec, xb_engine_running_state *state,
                            xb_listener_state *listeners, const xb_store *store,
                            const xb_power_state *power);

#endif
