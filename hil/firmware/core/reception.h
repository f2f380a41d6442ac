/* Accept or reject a received frame; reception units, their ages, deadlines and status.
 *
 * Rules 5, 6 and 7. The frame-wise half runs on arrival, the tick-wise half in the deadlines phase.
 * Units that share an enabling condition share a clock that runs only while the condition holds.
 * The age of a unit is a saturating counter that stands still while its clock stands. */
#ifndef XB_RECEPTION_H
#define XB_RECEPTION_H

#include <stdint.h>

#include "frames.h"
#include "profiles.h"
#include "arithmetic.h"
#include "protection.h"
#include "xb_state.h"

/* The supervision status of a unit; the numbers are those of xb_status. */
#define XB_UNIT_FRESH 0u
#define XB_UNIT_STALE 6u
#define XB_UNIT_NEVER_RECEIVED 7u

typedef struct {
    uint64_t low;
    uint64_t high;
} xb_selector_range;

/* Signals that always arrive together. Deadlines in ticks, 0 = not supervised. `selectors` are
 * inclusive ranges of the selector value, none for an unmultiplexed unit. */
typedef struct {
    const xb_selector_range *selectors;
    const uint16_t *sources;
    const xb_set_word *touches; /* the quantities its sources feed */
    uint32_t selector_count;
    uint32_t source_count;
    uint32_t touch_count;
    uint32_t first_deadline;
    uint32_t deadline;
    uint16_t message;
    int8_t last_octet; /* -1: no signal, so that every frame has all of it */
} xb_unit_spec;

/* A received message: how it is recognised, protected and split into units. With a profile (an
 * index of xb_bridge_spec, or XB_NONE) checksum and counter are its own. */
typedef struct {
    xb_frame_key key;
    const xb_checksum_spec *checksum; /* or NULL */
    const xb_counter_spec *counter;   /* or NULL */
    const xb_signal_spec *selector;   /* or NULL */
    const uint16_t *units;
    const uint16_t *routes;
    uint32_t unit_count;
    uint32_t route_count;
    int32_t profile;
    uint8_t length;
    uint8_t allow_short;
    uint8_t judged; /* a fault watches it frame by frame */
} xb_message_spec;

/* The supervision clock of all units with one enabling condition (an index, or XB_NONE). */
typedef struct {
    const uint16_t *units;
    uint32_t unit_count;
    int32_t condition;
} xb_clock_spec;

uint8_t xb_judge(const xb_message_spec *spec, xb_message_state *state,
                 const xb_profile_spec *profile, xb_profile_state *profile_state,
                 uint64_t intel_word, uint32_t length);
uint8_t xb_unit_arrived(const xb_unit_spec *unit, uint32_t length);
uint8_t xb_unit_selected(const xb_unit_spec *unit, uint64_t selector);
uint8_t xb_unit_expires(const xb_unit_spec *spec, const xb_unit_state *state);

#endif
