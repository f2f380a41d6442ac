/* The vehicle functions, one file each: const spec, small state and one step a control tick.
 *
 * Functions see only quantities and the power state and publish quantities. */
#ifndef XB_FUNCTIONS_H
#define XB_FUNCTIONS_H

#include <stdint.h>

#include "cooling_fan.h"
#include "fuel_pump.h"
#include "gauge.h"
#include "mapping.h"

typedef enum {
    XB_COOLING_FAN = 0,
    XB_FUEL_PUMP = 1,
    XB_GAUGE = 2,
    XB_MAPPING = 3
} xb_function_kind;

/* A function of the listed order: its kind, and its place among the functions of that kind. */
typedef struct {
    uint16_t place;
    uint8_t kind;
} xb_function_spec;

#endif
