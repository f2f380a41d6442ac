/* Routes and the cyclic send table: due, values, pack, counter, checksum (rules 12 and 13).
 *
 * A message has one slot: its payload before counter and checksum. What left last is remembered to
 * judge "changed". Payloads are Intel words, octet 0 least significant. */
#ifndef XB_TRANSMISSION_H
#define XB_TRANSMISSION_H

#include <stdint.h>

#include "arithmetic.h"
#include "frames.h"
#include "protection.h"
#include "quantities.h"
#include "xb_state.h"

/* What a message does while a quantity it depends on is not real. */
typedef enum { XB_SUBSTITUTE = 0, XB_SAY_NOT_AVAILABLE = 1, XB_STOP = 2 } xb_on_loss;

/* A quantity in a payload: raw = divide(value*a + b, d), saturated to the raw range low..high.
 * `not_available` is the raw code that says so, when has_not_available is 1. With `fits` no value of
 * the quantity leads beyond 32 bit on the way. */
typedef struct {
    xb_signal_spec signal;
    xb_number a;
    xb_number b;
    xb_number d;
    xb_number low;
    xb_number high;
    xb_number not_available;
    uint16_t quantity;
    uint8_t has_not_available;
    uint8_t fits;
} xb_pack_spec;

/* What is put round the payload of a sent message. */
typedef struct {
    xb_frame_key key;
    const xb_counter_spec *counter;   /* or NULL */
    const xb_checksum_spec *checksum; /* or NULL */
    uint8_t length;
} xb_envelope_spec;

/* A sent message. Period, offset and gap in ticks; period 0 = only on change. `base` holds
 * constants and fill bits, 0 where a quantity is packed; `loss_of` are the quantities on_loss is
 * about; `reset_word` is the payload of the reset values; `watched` are the quantities whose change
 * makes a message sent on change look at its payload. */
typedef struct {
    const xb_envelope_spec *envelope;
    uint64_t base;
    const xb_pack_spec *packs;
    const uint16_t *loss_of;
    uint32_t pack_count;
    uint32_t loss_of_count;
    uint32_t period;
    uint32_t offset;
    uint32_t min_gap;
    int32_t condition;
    uint64_t reset_word;
    const xb_set_word *watched;
    uint32_t watched_count;
    uint8_t on_change;
    uint8_t on_loss;
} xb_transmit_spec;

/* A routed message: where it goes, and how many frames of one tick are kept (1 = newest). Its
 * frames wait from place `first` on among the waiting frames of all routes. */
typedef struct {
    uint32_t capacity;
    uint32_t first;
    uint8_t bus;
    uint8_t fifo;
} xb_route_spec;

uint64_t xb_pack(const xb_transmit_spec *spec, const xb_store *store);
uint8_t xb_source_lost(const xb_transmit_spec *spec, const xb_store *store);
void xb_transmit_reset(const xb_transmit_spec *spec, xb_transmit_state *state);
void xb_transmit_start(const xb_transmit_spec *spec, xb_transmit_state *state);
uint8_t xb_transmit_due(const xb_transmit_spec *spec, xb_transmit_state *state, uint64_t payload);
void xb_hand_over(const xb_envelope_spec *spec, xb_transmit_state *state, uint64_t payload,
                  xb_frame *frame);
void xb_enqueue(const xb_route_spec *spec, xb_route_state *state, xb_frame *waiting,
                uint32_t *waiting_count, const xb_frame *frame);

/* Let one tick pass: the time to the next cyclic send, and since the last hand-over. */
static inline void xb_transmit_pass(xb_transmit_state *state)
{
    if (state->due_in > 0u) {
        state->due_in -= 1u;
    }
    state->gap = xb_add_one(state->gap);
}

#endif
