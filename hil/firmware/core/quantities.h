/* Quantities: value + status + origin; decoding, plausibility, substitution on loss, return.
 *
 * Rules 4, 8 and 10. A source is one place a quantity can come from: a signal of a reception unit
 * or an input pin. A quantity takes its first usable source in the declared order. A produced
 * quantity has no source; a function, a fault or the power mode publishes it. */
#ifndef XB_QUANTITIES_H
#define XB_QUANTITIES_H

#include <stdint.h>

#include "signals.h"
#include "xb_state.h"
#include "xb_tables.h"

/* What is known of a value, worst last (rule 8). */
typedef enum {
    XB_VALID = 0,
    XB_FROZEN = 1,
    XB_IMPLAUSIBLE = 2,
    XB_OUT_OF_RANGE = 3,
    XB_NOT_AVAILABLE = 4,
    XB_ERROR = 5,
    XB_STALE = 6,
    XB_NEVER_RECEIVED = 7
} xb_status;

/* Origins of the delivered value: 0..249 is the source in use, above that: */
#define XB_ORIGIN_PRODUCED 250u
#define XB_ORIGIN_INITIAL 251u
#define XB_ORIGIN_HELD 252u
#define XB_ORIGIN_SUBSTITUTE 253u
#define XB_ORIGIN_NOT_AVAILABLE 254u

#define XB_NONE (-1) /* an index that is absent */

/* Inclusive raw range with the status it means. */
typedef struct {
    xb_number first;
    xb_number last;
    uint8_t status;
} xb_special;

/* value = divide(raw*a + b, d), saturated to low..high. Raw values outside valid_low..valid_high
 * are out of range. frozen_after counts receptions with the same raw value, max_change is the
 * largest step between two receptions; 0 = off. A pin source has no signal and unit XB_NONE. */
typedef struct {
    xb_signal_spec signal;
    xb_number a;
    xb_number b;
    xb_number d;
    xb_number valid_low;
    xb_number valid_high;
    xb_number max_change;
    const xb_special *specials;
    uint32_t special_count;
    int32_t low;
    int32_t high;
    int32_t unit;
    uint32_t frozen_after;
    uint16_t quantity;
    uint8_t watched;
} xb_source_spec;

/* The range of a quantity, and its value at reset. */
typedef struct {
    int32_t low;
    int32_t high;
    int32_t initial;
} xb_quantity_spec;

/* Where a received quantity comes from, and what it shows while its first source is lost: hold in
 * ticks; without substitute the loss is "not available"; return_rate in steps of the resolution per
 * second, 0 = at once. One that is `plain` has a single source, no hold and no return rate. */
typedef struct {
    const uint16_t *sources;
    uint32_t source_count;
    uint32_t hold;
    uint32_t return_rate;
    int32_t substitute;
    int32_t initial;
    uint8_t has_substitute;
    uint8_t plain;
} xb_delivery_spec;

/* What became of a quantity that was worked out, as bits. */
#define XB_QUANTITY_CHANGED 1u
#define XB_QUANTITY_AGAIN 2u /* look again in the next tick: a hold or a return is running */

/* All quantities, which of them changed in this tick, and which must be looked at. The two sets
 * hold one bit a quantity; they are no state of their own, since whoever wakes from a reset or a
 * restored image looks at everything. */
typedef struct {
    const xb_quantity_spec *specs;
    xb_quantity_state *states;
    uint32_t *changed;
    uint32_t *touched;
} xb_store;

void xb_publish(const xb_store *store, int32_t index, int32_t value, uint8_t status, uint8_t real);
void xb_publish_wide(const xb_store *store, int32_t index, int64_t value, uint8_t status,
                     uint8_t real);
uint8_t xb_lost(const xb_quantity_state *state);
uint8_t xb_take(const xb_source_spec *spec, xb_source_state *state, uint64_t bits);
uint8_t xb_is_on(const xb_store *store, int32_t index);
void xb_forget(xb_source_state *state);
void xb_substitute(const xb_delivery_spec *spec, xb_quantity_state *state, uint8_t lost);
uint8_t xb_evaluate(const xb_delivery_spec *spec, xb_quantity_state *state,
                    const xb_source_state *sources, uint8_t lost, uint32_t tick_ms);

/* Put a quantity into a set. */
static inline void xb_add_to(uint32_t *set, uint32_t index)
{
    set[index / 32u] |= (uint32_t)1u << (index % 32u);
}

/* Return whether the value is real: from a source, held inside its hold time, or produced. */
static inline uint8_t xb_usable(const xb_quantity_state *state)
{
    return state->origin <= XB_ORIGIN_PRODUCED || state->origin == XB_ORIGIN_HELD;
}

#endif
