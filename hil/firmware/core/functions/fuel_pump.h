/* Fuel pump: prime once per ignition cycle, run with rotation, off without, off on loss.
 *
 * Rule 11: the pump is off without rotation. Loss of engine speed switches it off at once, even in
 * the prime time; a speed that was never received is no loss before its first deadline. Where the
 * pairing says so: it runs while cranking; a crash latches it off until the next ignition cycle,
 * over resets; on loss a turning engine keeps it for a limited time while a hard-wired enable is
 * there (a moving car without drive is a hazard too); and a pump driver gets a duty command. */
#ifndef XB_FUEL_PUMP_H
#define XB_FUEL_PUMP_H

#include "power.h"
#include "pump_command.h"
#include "quantities.h"

/* What else starts and stops the pump: quantity indices (XB_NONE = absent), control ticks. */
typedef struct {
    int32_t crash;
    int32_t loss_enable;
    uint32_t loss_run;
    uint8_t runs_cranking;
} xb_pump_guard_spec;

/* Quantity indices; rotation threshold in steps of engine speed; times in control ticks. `guard`
 * and `command` are NULL where the pairing has none. */
typedef struct {
    const xb_pump_guard_spec *guard;
    const xb_pump_command_spec *command;
    int32_t rotation_above;
    uint32_t prime;
    uint32_t off_delay;
    uint16_t output;
    uint16_t engine_speed;
} xb_fuel_pump_spec;

void xb_fuel_pump_step(const xb_fuel_pump_spec *spec, xb_fuel_pump_state *state,
                       xb_pump_guard_state *guard, xb_pump_command_state *command,
                       const xb_store *store, const xb_power_state *power);

#endif
