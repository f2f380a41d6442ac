/* Routes and the cyclic send table: due, values, pack, counter, checksum (rules 12 and 13). */
#include "transmission.h"

#include <stddef.h>

#include "arithmetic.h"
#include "unrolling.h"

/* Return the raw value (rule 4): scaled, saturated to the valid range, never a special code. */
static uint64_t encode(const xb_pack_spec *spec, int32_t value)
{
    int64_t raw;

    if (spec->fits != 0u) {
        int32_t small =
            xb_divide_short(value * (int32_t)spec->a + (int32_t)spec->b, (int32_t)spec->d);

        raw = xb_saturate_short(small, (int32_t)spec->low, (int32_t)spec->high);
    } else {
        raw = xb_divide((int64_t)value * spec->a + spec->b, spec->d);
        raw = xb_saturate(raw, spec->low, spec->high);
    }
    return (uint64_t)raw;
}

/* Return the payload of the quantities as they are, before counter and checksum. */
XB_INSIDE
uint64_t xb_pack(const xb_transmit_spec *spec, const xb_store *store)
{
    uint64_t word = spec->base;
    uint8_t intel = 1u; /* the byte order in which `word` stands */

    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->pack_count; i++) {
        const xb_pack_spec *entry = &spec->packs[i];
        const xb_quantity_state *state = &store->states[entry->quantity];
        uint8_t says_lost = spec->on_loss == (uint8_t)XB_SAY_NOT_AVAILABLE
                            && xb_usable(state) == 0u;
        uint64_t raw;

        if (entry->has_not_available != 0u
            && (state->origin == XB_ORIGIN_NOT_AVAILABLE || says_lost != 0u)) {
            raw = (uint64_t)entry->not_available;
        } else {
            raw = encode(entry, state->value);
        }
        if (entry->signal.intel != intel) {
            intel = entry->signal.intel;
            word = xb_swap_word(word);
        }
        word |= (raw & entry->signal.mask) << entry->signal.shift;
    }
    return intel != 0u ? word : xb_swap_word(word);
}

/* Return whether a message that stops on loss has to be silent. */
XB_INSIDE
uint8_t xb_source_lost(const xb_transmit_spec *spec, const xb_store *store)
{
    if (spec->on_loss != (uint8_t)XB_STOP) {
        return 0u;
    }
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->loss_of_count; i++) {
        if (xb_usable(&store->states[spec->loss_of[i]]) == 0u) {
            return 1u;
        }
    }
    return 0u;
}

/* Put a sent message to its reset state: "changed" is judged against reset values, the counter
 * is the one before the first. No quantity is there yet. */
void xb_transmit_reset(const xb_transmit_spec *spec, xb_transmit_state *state)
{
    *state = xb_transmit_reset_state;
    state->last_word = spec->reset_word;
    state->stopped = spec->on_loss == (uint8_t)XB_STOP && spec->loss_of_count != 0u;
    if (spec->envelope->counter != NULL) {
        state->counter = spec->envelope->counter->before_first;
    }
    if (spec->condition == XB_NONE) {
        xb_transmit_start(spec, state);
    }
}

/* Start communication: the offset counts from here. */
void xb_transmit_start(const xb_transmit_spec *spec, xb_transmit_state *state)
{
    state->started = 1u;
    state->due_in = spec->period != 0u ? spec->offset : 0u;
}

/* Return whether the message leaves in this tick; cyclic and event due together is one frame.
 *
 * Going back to the payload sent last inside the minimum gap cancels the event; the gap limits
 * event sends only, and event sends never shift the period. */
uint8_t xb_transmit_due(const xb_transmit_spec *spec, xb_transmit_state *state, uint64_t payload)
{
    uint8_t due = 0u;

    if (spec->period != 0u && state->due_in == 0u) {
        state->due_in = spec->period;
        due = 1u;
    }
    if (spec->on_change != 0u && due == 0u && payload != state->last_word) {
        due = state->gap >= spec->min_gap; /* never sent is the longest gap */
    }
    return due != 0u && state->stopped == 0u;
}

/* Write the frame that leaves: counter advanced at hand-over, checksum sealed last. */
XB_APART
void xb_hand_over(const xb_envelope_spec *spec, xb_transmit_state *state, uint64_t payload,
                  xb_frame *frame)
{
    uint64_t sealed;

    state->last_word = payload;
    state->gap = 0u;
    if (spec->counter != NULL) {
        state->counter = xb_next_counter(spec->counter, state->counter);
    }
    sealed = xb_seal(spec->counter, spec->checksum, payload, state->counter);
    frame->identifier = spec->key.identifier;
    frame->bus = spec->key.bus;
    frame->extended = spec->key.extended;
    frame->length = spec->length;
    xb_word_octets(sealed, frame->data);
}

/* Keep a frame for the transmission phase.
 *
 * `newest` overwrites; a full `fifo` refuses the frame that came last, so order is kept. */
void xb_enqueue(const xb_route_spec *spec, xb_route_state *state, xb_frame *waiting,
                uint32_t *waiting_count, const xb_frame *frame)
{
    if (*waiting_count < spec->capacity) {
        *waiting_count += 1u;
    } else if (spec->fifo != 0u) {
        state->overflows = xb_count(state->overflows);
        return;
    }
    waiting[*waiting_count - 1u] = *frame;
    waiting[*waiting_count - 1u].bus = spec->bus;
}
