/* The vehicle functions, one file each: const spec, small state and one step a control tick.
 *
 * Functions see only quantities and the power state and publish quantities. */
#ifndef XB_FUNCTIONS_H
#define XB_FUNCTIONS_H

#include <stdint.h>

#include "air_conditioning.h"
#include "cooling_fan.h"
#include "cooling_fan_duty.h"
#include "engine_running.h"
#include "fuel_pump.h"
#include "gauge.h"
#include "mapping.h"
#include "accelerator_pedal.h"
#include "cruise_buttons.h"
#include "mode_selector.h"
#include "lamps.h"
#include "engine_speed_gauge.h"
#include "pulse_output.h"
#include "fuel_level.h"
#include "consumption_counter.h"
#include "vehicle_speed.h"
#include "starter.h"
#include "torque_request.h"

/* In the order of the kinds in the generator of the tables. */
typedef enum {
    XB_COOLING_FAN,
    XB_FUEL_PUMP,
    XB_GAUGE,
    XB_MAPPING,
    XB_ACCELERATOR_PEDAL,
    XB_CRUISE_BUTTONS,
    XB_MODE_SELECTOR,
    XB_LAMP_PANEL,
    XB_ENGINE_SPEED_GAUGE,
    XB_PULSE_OUTPUT,
    XB_FUEL_LEVEL,
    XB_CONSUMPTION_COUNTER,
    XB_VEHICLE_SPEED,
    XB_COOLING_FAN_DUTY,
    XB_AIR_CONDITIONING,
    XB_STARTER,
    XB_TORQUE_REQUEST,
    XB_ENGINE_RUNNING,
} xb_function_kind;

/* A function of the listed order: its kind, and its place among the functions of that kind. */
typedef struct {
    uint16_t place;
    uint8_t kind;
} xb_function_spec;

struct xb_engine_; /* the whole engine, see interface.h */

void xb_functions_reset(struct xb_engine_ *engine);
void xb_functions_step(struct xb_engine_ *engine);
void xb_functions_image(struct xb_engine_ *engine, const xb_function_spec *function,
                        xb_writer *writer);

#endif
