/* Accept or reject a received frame; reception units, their ages, deadlines and status. */
#include "reception.h"

#include <stddef.h>

#include "arithmetic.h"
#include "xb_tables.h"

#if XB_PROFILES > 0
/* Return whether the frame passes a profile's check and its machine. */
static uint8_t judge_profile(const xb_profile_spec *spec, xb_message_state *state,
                             xb_profile_state *profile, uint64_t intel_word)
{
    if (xb_check_frame(spec, profile, intel_word) == (uint8_t)XB_CHECK_WRONG_CRC) {
        state->checksum_wrong = xb_count(state->checksum_wrong);
    }
    return xb_profile_accepts(spec, profile);
}
#endif

/* Return whether the frame passes; update counts and counter reference (rule 5). `profile` and its
 * state are those of the message, or NULL. */
uint8_t xb_judge(const xb_message_spec *spec, xb_message_state *state,
                 const xb_profile_spec *profile, xb_profile_state *profile_state,
                 uint64_t intel_word, uint32_t length)
{
    /* LENGTH */
    if (length < spec->length && spec->allow_short == 0u) {
        state->short_ = xb_count(state->short_);
        return 0u;
    }

    /* PROFILE: checksum and counter in one check */
#if XB_PROFILES > 0
    if (profile != NULL) {
        return judge_profile(profile, state, profile_state, intel_word);
    }
#else
    (void)profile;
    (void)profile_state;
#endif

    /* CHECKSUM */
    if (spec->checksum != NULL && xb_checksum_good(spec->checksum, intel_word) == 0u) {
        state->checksum_wrong = xb_count(state->checksum_wrong);
        return 0u;
    }

    /* COUNTER: the reference becomes the received counter after every good checksum */
    if (spec->counter != NULL) {
        uint32_t counter = (uint32_t)xb_bits(&spec->counter->signal, intel_word);
        uint16_t reference = state->reference;

        state->reference = (uint16_t)counter;
        if (xb_counter_good(spec->counter, reference, counter) == 0u) {
            state->counter_wrong = xb_count(state->counter_wrong);
            return 0u;
        }
    }
    return 1u;
}

/* Return whether the last octet of the unit arrived (rule 6). */
uint8_t xb_unit_arrived(const xb_unit_spec *unit, uint32_t length)
{
    return unit->last_octet < (int32_t)length;
}

/* Return whether the selector names the unit's path of the multiplexer (rule 6). */
uint8_t xb_unit_selected(const xb_unit_spec *unit, uint64_t selector)
{
    for (uint32_t i = 0u; i < unit->selector_count; i++) {
        if (unit->selectors[i].low <= selector && selector <= unit->selectors[i].high) {
            return 1u;
        }
    }
    return 0u;
}

/* Return whether the unit's age has reached its deadline (rule 7); the first has its own length. */
uint8_t xb_unit_expires(const xb_unit_spec *spec, const xb_unit_state *state)
{
    uint32_t deadline = state->status == XB_UNIT_NEVER_RECEIVED ? spec->first_deadline
                                                                : spec->deadline;

    if (state->status == XB_UNIT_STALE || deadline == 0u) {
        return 0u;
    }
    return state->age >= deadline;
}
