/* Counter-plus-CRC profiles 1, 2, 5, 11 and 22: check results, acceptance, state machine (rule 5).
 *
 * Built from public parameters and published examples; no conformity is claimed, and the terms of
 * the specification itself may require a licence for commercial use. Layout and data ID are in the
 * tables: a checksum and a counter. Where a pairing receives no profile (XB_PROFILES is 0) nothing
 * calls these, and the linker leaves them out. */
#ifndef XB_PROFILES_H
#define XB_PROFILES_H

#include <stdint.h>

#include "protection.h"
#include "xb_state.h"

/* What one check found; NONE before the first. */
typedef enum {
    XB_CHECK_NONE = 0,
    XB_CHECK_OK = 1,
    XB_CHECK_SOME_LOST = 2,
    XB_CHECK_REPEATED = 3,
    XB_CHECK_WRONG_SEQUENCE = 4,
    XB_CHECK_WRONG_CRC = 5,
    XB_CHECK_NO_NEW_DATA = 6,
    XB_CHECK_INITIAL = 7,
    XB_CHECK_SYNC = 8
} xb_check_result;

/* What the window state machine says. NO_DATA: nothing usable since the start. */
typedef enum {
    XB_MACHINE_NO_DATA = 0,
    XB_MACHINE_INIT = 1,
    XB_MACHINE_VALID = 2,
    XB_MACHINE_INVALID = 3
} xb_machine_says;

/* What one check means to the machine. */
typedef enum {
    XB_FOUND_GOOD = 0,
    XB_FOUND_ERROR = 1,
    XB_FOUND_OTHER = 2,
    XB_FOUND_SILENCE = 3
} xb_finding;

/* What a state asks of the window: at least so many good checks, at most so many errors. */
typedef struct {
    uint8_t good;
    uint8_t errors;
} xb_limit_spec;

/* The machine: one bit of `mask` for every check of the window, the limits of each state. */
typedef struct {
    uint32_t mask;
    xb_limit_spec init;
    xb_limit_spec valid;
    xb_limit_spec invalid;
    uint8_t older_mapping;
} xb_machine_spec;

/* How a received message of a profile is checked; `grows` for profiles 1 and 2. Period in ticks. */
typedef struct {
    const xb_checksum_spec *checksum;
    const xb_counter_spec *counter;
    const xb_signal_spec *nibble;   /* bits 11..8 of the data ID in the payload, or NULL */
    const xb_machine_spec *machine; /* or NULL */
    uint32_t period;
    uint16_t clock;
    uint8_t nibble_value;
    uint8_t grows;
    uint8_t most_stalled;
    uint8_t sync_checks;
} xb_profile_spec;

uint8_t xb_check_frame(const xb_profile_spec *spec, xb_profile_state *state, uint64_t intel_word);
uint8_t xb_profile_accepts(const xb_profile_spec *spec, xb_profile_state *state);
void xb_profile_pass_time(const xb_profile_spec *spec, xb_profile_state *state,
                          uint8_t supervised);
void xb_profile_begin(xb_profile_state *state);

#endif
