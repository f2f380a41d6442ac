/* Counter-plus-CRC profiles 1, 2, 5, 11 and 22: check results, acceptance, state machine (rule 5). */
#include "profiles.h"

#include <stddef.h>

#include "arithmetic.h"
#include "signals.h"

/* Return an 8-bit count plus one, saturated. */
static uint8_t one_more(uint8_t value)
{
    return value < UINT8_MAX ? (uint8_t)(value + 1u) : value;
}

/* Return the number of ones. */
static uint32_t ones(uint32_t word)
{
    uint32_t count = 0u;

    for (uint32_t bit = 0u; bit < 32u; bit++) {
        count += (word >> bit) & 1u;
    }
    return count;
}

/* Return whether the window is good enough. */
static uint8_t meets(const xb_limit_spec *limit, uint32_t good, uint32_t errors)
{
    return errors <= limit->errors && good >= limit->good;
}

/* Return the state after a check that is in the window already; `good`, `errors` are counts. */
static xb_machine_says next_state(const xb_machine_spec *spec, uint8_t state, uint32_t good,
                                  uint32_t errors)
{
    if (state == (uint8_t)XB_MACHINE_INIT) {
        if (meets(&spec->init, good, errors) != 0u) {
            return XB_MACHINE_VALID;
        }
        return errors > spec->init.errors ? XB_MACHINE_INVALID : XB_MACHINE_INIT;
    }
    if (state == (uint8_t)XB_MACHINE_VALID) {
        return meets(&spec->valid, good, errors) != 0u ? XB_MACHINE_VALID : XB_MACHINE_INVALID;
    }
    return meets(&spec->invalid, good, errors) != 0u ? XB_MACHINE_VALID : XB_MACHINE_INVALID;
}

/* Return what a result means to the machine. */
static xb_finding finding(const xb_machine_spec *spec, xb_check_result result)
{
    switch (result) {
    case XB_CHECK_OK:
    case XB_CHECK_SOME_LOST:
        return XB_FOUND_GOOD;
    case XB_CHECK_SYNC:
        return spec->older_mapping == 0u ? XB_FOUND_GOOD : XB_FOUND_OTHER;
    case XB_CHECK_INITIAL:
        return spec->older_mapping != 0u ? XB_FOUND_GOOD : XB_FOUND_OTHER;
    case XB_CHECK_WRONG_CRC:
        return XB_FOUND_ERROR;
    case XB_CHECK_NO_NEW_DATA:
        return XB_FOUND_SILENCE;
    default:
        return XB_FOUND_OTHER;
    }
}

/* Move the window by one check and the machine by what is in it.
 *
 * The check that ends NO_DATA is not in the window. */
static void step_machine(const xb_machine_spec *spec, xb_profile_state *state, xb_finding found)
{
    if (state->machine == (uint8_t)XB_MACHINE_NO_DATA) {
        if (found == XB_FOUND_GOOD || found == XB_FOUND_OTHER) {
            state->machine = (uint8_t)XB_MACHINE_INIT;
        }
        return;
    }
    state->good = ((state->good << 1) | (found == XB_FOUND_GOOD ? 1u : 0u)) & spec->mask;
    state->errors = ((state->errors << 1) | (found == XB_FOUND_ERROR ? 1u : 0u)) & spec->mask;
    state->machine =
        (uint8_t)next_state(spec, state->machine, ones(state->good), ones(state->errors));
}

/* Note the result of a check: its count, and what the machine makes of it. */
static void note(const xb_profile_spec *spec, xb_profile_state *state, xb_check_result result)
{
    state->result = (uint8_t)result;
    switch (result) {
    case XB_CHECK_SOME_LOST:
        state->some_lost = xb_count(state->some_lost);
        break;
    case XB_CHECK_REPEATED:
        state->repeated = xb_count(state->repeated);
        break;
    case XB_CHECK_WRONG_SEQUENCE:
        state->wrong_sequence = xb_count(state->wrong_sequence);
        break;
    case XB_CHECK_NO_NEW_DATA:
        state->no_new_data = xb_count(state->no_new_data);
        break;
    case XB_CHECK_INITIAL:
        state->initial = xb_count(state->initial);
        break;
    case XB_CHECK_SYNC:
        state->sync = xb_count(state->sync);
        break;
    default:
        break;
    }
    if (spec->machine != NULL) {
        step_machine(spec->machine, state, finding(spec->machine, result));
    }
}

/* Make a counter the reference; the allowed step is the first one again. */
static void take(const xb_profile_spec *spec, xb_profile_state *state, uint32_t counter)
{
    state->counter = (uint8_t)counter;
    state->allowed = (uint8_t)spec->counter->max_step;
}

/* Return the step from the reference to a counter. */
static uint32_t step_to(const xb_profile_spec *spec, uint32_t reference, uint32_t counter)
{
    uint32_t modulo = spec->counter->modulo;

    return (counter + modulo - reference) % modulo;
}

/* Judge the counter of profiles 5, 11 and 22: every one becomes the reference.
 *
 * Before the first frame the reference is the highest counter, so a first 0 is OK. */
static xb_check_result follow(const xb_profile_spec *spec, xb_profile_state *state,
                              uint32_t counter)
{
    uint32_t reference = state->waiting != 0u ? spec->counter->modulo - 1u : state->counter;
    uint32_t step = step_to(spec, reference, counter);

    state->waiting = 0u;
    state->counter = (uint8_t)counter;
    if (step > spec->counter->max_step) {
        return XB_CHECK_WRONG_SEQUENCE;
    }
    if (step == 0u) {
        return XB_CHECK_REPEATED;
    }
    return step == 1u ? XB_CHECK_OK : XB_CHECK_SOME_LOST;
}

/* Judge the counter of profiles 1 and 2.
 *
 * A wrong sequence becomes the reference only where SYNC frames will confirm it. */
static xb_check_result follow_growing(const xb_profile_spec *spec, xb_profile_state *state,
                                      uint32_t counter)
{
    uint32_t step;
    uint8_t stalled;

    if (state->waiting != 0u) {
        state->waiting = 0u;
        take(spec, state, counter);
        return XB_CHECK_INITIAL;
    }
    step = step_to(spec, state->counter, counter);
    if (step == 0u) {
        state->stalled = one_more(state->stalled);
        return XB_CHECK_REPEATED;
    }
    if (step > state->allowed) {
        state->stalled = 0u;
        state->syncing = spec->sync_checks;
        if (spec->sync_checks > 0u) {
            take(spec, state, counter);
        }
        return XB_CHECK_WRONG_SEQUENCE;
    }
    take(spec, state, counter);
    stalled = state->stalled;
    state->stalled = 0u;
    if (stalled > spec->most_stalled) {
        state->syncing = spec->sync_checks;
        if (state->syncing > 0u) {
            return XB_CHECK_SYNC;
        }
    } else if (state->syncing > 0u) {
        state->syncing = (uint8_t)(state->syncing - 1u);
        return XB_CHECK_SYNC;
    }
    return step == 1u ? XB_CHECK_OK : XB_CHECK_SOME_LOST;
}

/* Let the allowed step of profiles 1 and 2 grow by one check. */
static void grow(const xb_profile_spec *spec, xb_profile_state *state)
{
    if (spec->grows != 0u && state->allowed < spec->counter->modulo - 1u) {
        state->allowed = (uint8_t)(state->allowed + 1u);
    }
}

/* Return whether CRC and the data ID's part in the payload are right. */
static uint8_t intact(const xb_profile_spec *spec, uint64_t intel_word)
{
    if (spec->nibble != NULL && xb_bits(spec->nibble, intel_word) != spec->nibble_value) {
        return 0u;
    }
    return xb_checksum_good(spec->checksum, intel_word);
}

/* Check one frame of full length: CRC and data ID, then the counter (rule 5). */
uint8_t xb_check_frame(const xb_profile_spec *spec, xb_profile_state *state, uint64_t intel_word)
{
    uint32_t counter = (uint32_t)xb_bits(&spec->counter->signal, intel_word);
    xb_check_result result;

    grow(spec, state);
    if (intact(spec, intel_word) == 0u || counter >= spec->counter->modulo) {
        result = XB_CHECK_WRONG_CRC;
    } else if (spec->grows != 0u) {
        result = follow_growing(spec, state, counter);
    } else {
        result = follow(spec, state, counter);
    }
    state->heard = 1u;
    note(spec, state, result);
    return state->result;
}

/* Return whether the frame just checked is accepted: OK or some lost, and the machine VALID.
 *
 * Repeated, sync and initial are not accepted, whatever the machine says (rule 5). */
uint8_t xb_profile_accepts(const xb_profile_spec *spec, xb_profile_state *state)
{
    if (state->result != (uint8_t)XB_CHECK_OK && state->result != (uint8_t)XB_CHECK_SOME_LOST) {
        return 0u;
    }
    if (spec->machine == NULL || state->machine == (uint8_t)XB_MACHINE_VALID) {
        return 1u;
    }
    state->not_valid = xb_count(state->not_valid);
    return 0u;
}

/* Let one tick pass: a period without a frame is a check for itself.
 *
 * Time stands while the supervision clock stands. A frame on the last tick of a period is in
 * time. */
void xb_profile_pass_time(const xb_profile_spec *spec, xb_profile_state *state, uint8_t supervised)
{
    if (state->heard != 0u) {
        state->heard = 0u;
        state->idle = 0u;
        return;
    }
    if (supervised == 0u) {
        return;
    }
    state->idle = xb_add_one(state->idle);
    if (state->idle < spec->period) {
        return;
    }
    state->idle = 0u;
    grow(spec, state);
    if (spec->grows != 0u) {
        state->stalled = one_more(state->stalled);
    }
    note(spec, state, XB_CHECK_NO_NEW_DATA);
}

/* Start anew with supervision, unless a frame was checked in this very tick; counts stay. The tick
 * of the start is not counted. */
void xb_profile_begin(xb_profile_state *state)
{
    if (state->heard != 0u) {
        return;
    }
    state->heard = 1u;
    state->counter = 0u;
    state->allowed = 0u;
    state->stalled = 0u;
    state->syncing = 0u;
    state->waiting = 1u;
    state->idle = 0u;
    state->result = (uint8_t)XB_CHECK_NONE;
    state->machine = (uint8_t)XB_MACHINE_NO_DATA;
    state->good = 0u;
    state->errors = 0u;
}
