/* Named conditions: power mode, supply window, time since reset, comparisons of quantities.
 *
 * They are judged on what was committed at the end of the previous tick (rule 3). A term whose own
 * quantity is lost counts as true, so that loss cannot silence supervision (rule 7). */
#ifndef XB_CONDITIONS_H
#define XB_CONDITIONS_H

#include <stdint.h>

#include "quantities.h"

typedef enum {
    XB_EQUAL = 0,
    XB_NOT_EQUAL = 1,
    XB_LESS = 2,
    XB_LESS_OR_EQUAL = 3,
    XB_GREATER = 4,
    XB_GREATER_OR_EQUAL = 5
} xb_operator;

/* One comparison: quantity index, operator, constant in the quantity's steps. */
typedef struct {
    int64_t value;
    uint16_t quantity;
    uint8_t operator_;
} xb_comparison_spec;

/* All given terms must hold. power_modes has one bit a mode, 0 = not looked at; `after` in ticks;
 * the supply window in mV is looked at when has_supply is 1. */
typedef struct {
    const xb_comparison_spec *comparisons;
    uint32_t comparison_count;
    uint32_t power_modes;
    uint32_t supply_low;
    uint32_t supply_high;
    uint32_t after;
    uint8_t has_supply;
} xb_condition_spec;

uint8_t xb_condition_holds(const xb_condition_spec *spec, uint32_t tick, uint8_t mode,
                           uint32_t supply_mv, const xb_store *store);

#endif
