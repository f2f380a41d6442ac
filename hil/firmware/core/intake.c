/* From frames to quantities: the receiving half of the engine (rules 3, 5 to 8 and 10).
 *
 * xb_intake_receive runs on arrival; deadlines and quantities are phases of a tick. */
#include "intake.h"

#include <stddef.h>

#include "arithmetic.h"
#include "decoding.h"

/* Return whether two message keys are the same. */
static uint8_t same_key(const xb_frame_key *key, const xb_frame *frame)
{
    return key->identifier == frame->identifier && key->bus == frame->bus
           && key->extended == frame->extended;
}

/* Return the received message the frame belongs to, or XB_NONE. */
static int32_t find_message(const xb_bridge_spec *spec, const xb_frame *frame)
{
    for (uint32_t i = 0u; i < spec->message_count; i++) {
        if (same_key(&spec->messages[i].key, frame) != 0u) {
            return (int32_t)i;
        }
    }
    return XB_NONE;
}

/* Count a frame that belongs to no received message. */
static void reject_unknown(xb_engine *engine, const xb_frame *frame)
{
    xb_bus_counts_state *counts = &engine->bus_counts[frame->bus];

    for (uint32_t i = 0u; i < engine->spec->own_key_count; i++) {
        if (same_key(&engine->spec->own_keys[i], frame) != 0u) {
            counts->second_sender = xb_count(counts->second_sender);
            engine->buses[frame->bus].seen |= (uint8_t)(1u << (uint32_t)XB_EVENT_SECOND_SENDER);
            return;
        }
    }
    counts->unknown = xb_count(counts->unknown);
}

/* Count a rejected frame for the faults that judge frame by frame. */
static void reject(const xb_message_spec *message, xb_message_state *state)
{
    if (message->judged != 0u) {
        state->bad = xb_count(state->bad);
    }
}

/* Mark a unit as received and decode its signals. */
static void take_unit(xb_engine *engine, uint16_t index, uint64_t intel_word)
{
    engine->units[index].fresh = 1u;
    xb_decode_unit(&engine->spec->units[index], engine->spec->sources, engine->sources,
                   intel_word, engine->touched);
}

/* What a judged frame refreshes (rule 6). */
typedef struct {
    uint8_t any;     /* at least one unit is taken */
    uint8_t unknown; /* the selector names no unit */
    uint8_t has_selector;
    uint64_t selector;
} xb_choice;

/* Return whether the frame refreshes this unit: its last octet arrived and, on a path of the
 * multiplexer, the selector names it. */
static uint8_t takes(const xb_unit_spec *unit, const xb_choice *choice, uint32_t length)
{
    if (xb_unit_arrived(unit, length) == 0u) {
        return 0u;
    }
    if (unit->selector_count == 0u) {
        return 1u;
    }
    return choice->has_selector != 0u && xb_unit_selected(unit, choice->selector) != 0u;
}

/* Look at the units of a judged frame without taking them yet. */
static xb_choice choose(const xb_bridge_spec *spec, const xb_message_spec *message,
                        uint64_t intel_word, uint32_t length)
{
    xb_choice choice = {0u, 0u, 0u, 0u};
    uint8_t selected = 0u;
    uint8_t not_selected = 0u;

    if (message->selector != NULL && message->selector->last_octet < length) {
        choice.has_selector = 1u;
        choice.selector = xb_bits(message->selector, intel_word);
    }
    for (uint32_t i = 0u; i < message->unit_count; i++) {
        const xb_unit_spec *unit = &spec->units[message->units[i]];

        if (takes(unit, &choice, length) != 0u) {
            choice.any = 1u;
            selected |= unit->selector_count != 0u;
        } else if (xb_unit_arrived(unit, length) != 0u) {
            not_selected = 1u;
        }
    }
    choice.unknown = choice.has_selector != 0u && not_selected != 0u && selected == 0u;
    return choice;
}

/* Accept a frame, decode it and return its message; XB_NONE when it is rejected (rule 5). The
 * frame's length is 0..8 here. */
int32_t xb_intake_receive(xb_engine *engine, const xb_frame *frame)
{
    const xb_bridge_spec *spec = engine->spec;
    uint64_t intel_word = xb_intel_word(frame->data, frame->length);
    const xb_message_spec *message;
    const xb_profile_spec *profile = NULL;
    xb_profile_state *profile_state = NULL;
    xb_message_state *state;
    xb_choice choice;

    /* KNOWN: bus, identifier, format */
    int32_t index = find_message(spec, frame);
    if (index == XB_NONE) {
        reject_unknown(engine, frame);
        return XB_NONE;
    }
    message = &spec->messages[index];
    state = &engine->messages[index];

    /* LENGTH, CHECKSUM, COUNTER */
    if (message->profile != XB_NONE) {
        profile = &spec->profiles[message->profile];
        profile_state = &engine->profiles[message->profile];
    }
    if (xb_judge(message, state, profile, profile_state, intel_word, frame->length) == 0u) {
        reject(message, state);
        return XB_NONE;
    }

    /* UNITS */
    choice = choose(spec, message, intel_word, frame->length);
    if (choice.unknown != 0u) {
        state->selector_unknown = xb_count(state->selector_unknown);
    } else if (choice.any == 0u && message->unit_count != 0u) {
        state->short_ = xb_count(state->short_);
        reject(message, state);
        return XB_NONE;
    }
    if (message->judged != 0u) {
        state->good = xb_count(state->good);
    }

    /* SIGNALS */
    for (uint32_t i = 0u; i < message->unit_count; i++) {
        if (takes(&spec->units[message->units[i]], &choice, frame->length) != 0u) {
            take_unit(engine, message->units[i], intel_word);
        }
    }
    return index;
}

/* Have the quantities of a unit looked at, since its supervision status changed. */
static void touch_unit(xb_engine *engine, const xb_unit_spec *unit)
{
    for (uint32_t i = 0u; i < XB_QUANTITY_WORDS; i++) {
        engine->touched[i] |= unit->touches[i];
    }
}

/* React to a unit that became stale or "never received": its sources are forgotten unless it was
 * received again, and with the whole message gone the next counter goes unchecked. */
static void unit_gone(xb_engine *engine, uint16_t index)
{
    const xb_unit_spec *unit = &engine->spec->units[index];
    const xb_message_spec *message = &engine->spec->messages[unit->message];

    touch_unit(engine, unit);
    if (engine->units[index].fresh == 0u) {
        for (uint32_t i = 0u; i < unit->source_count; i++) {
            xb_forget(&engine->sources[unit->sources[i]]);
        }
    }
    for (uint32_t i = 0u; i < message->unit_count; i++) {
        const xb_unit_state *other = &engine->units[message->units[i]];

        if (other->status == XB_UNIT_FRESH || other->fresh != 0u) {
            return;
        }
    }
    engine->messages[unit->message].reference = XB_NO_REFERENCE;
}

/* Start and stop one supervision clock by its condition and advance the ages it drives (rule 7).
 *
 * A new start puts every unit back to "never received" with age 0; stopping freezes the ages. */
static void run_clock(xb_engine *engine, const xb_clock_spec *clock, xb_clock_state *state)
{
    uint8_t enabled = xb_holds(engine, clock->condition);

#if XB_PROFILES > 0
    for (uint32_t i = 0u; i < engine->spec->profile_count; i++) {
        if (enabled != 0u && state->enabled == 0u
            && &engine->clocks[engine->spec->profiles[i].clock] == state) {
            xb_profile_begin(&engine->profiles[i]);
        }
    }
#endif
    for (uint32_t i = 0u; i < clock->unit_count; i++) {
        xb_unit_state *unit = &engine->units[clock->units[i]];

        if (enabled != 0u && state->enabled == 0u) {
            unit->status = XB_UNIT_NEVER_RECEIVED;
            unit->age = 0u;
            unit_gone(engine, clock->units[i]);
        } else if (enabled != 0u) {
            unit->age = xb_add_one(unit->age);
        }
    }
    state->enabled = enabled;
}

/* Lose the units of a running clock whose age reaches their deadline (rule 7). */
static void expire(xb_engine *engine, const xb_clock_spec *clock, const xb_clock_state *state)
{
    if (state->enabled == 0u) {
        return;
    }
    for (uint32_t i = 0u; i < clock->unit_count; i++) {
        uint16_t index = clock->units[i];

        if (xb_unit_expires(&engine->spec->units[index], &engine->units[index]) != 0u) {
            engine->units[index].status = XB_UNIT_STALE;
            unit_gone(engine, index);
        }
    }
}

/* Run the deadlines phase of a tick (rule 7). */
void xb_intake_deadlines(xb_engine *engine)
{
    const xb_bridge_spec *spec = engine->spec;

    for (uint32_t i = 0u; i < spec->clock_count; i++) {
        run_clock(engine, &spec->clocks[i], &engine->clocks[i]);
    }
    for (uint32_t i = 0u; i < spec->unit_count; i++) {
        if (engine->units[i].fresh != 0u) {
            engine->units[i].fresh = 0u;
            engine->units[i].age = 0u;
            if (engine->units[i].status != XB_UNIT_FRESH) {
                engine->units[i].status = XB_UNIT_FRESH;
                touch_unit(engine, &spec->units[i]);
            }
        }
    }
#if XB_PROFILES > 0
    for (uint32_t i = 0u; i < spec->profile_count; i++) {
        xb_profile_pass_time(&spec->profiles[i], &engine->profiles[i],
                             engine->clocks[spec->profiles[i].clock].enabled);
    }
#endif
    for (uint32_t i = 0u; i < spec->clock_count; i++) {
        expire(engine, &spec->clocks[i], &engine->clocks[i]);
    }
}

/* Return value and status of a source, the supervision of its unit looked at (rule 8). */
static xb_offer offer(const xb_engine *engine, uint16_t source)
{
    const xb_source_state *state = &engine->sources[source];
    int32_t unit = engine->spec->sources[source].unit;
    xb_offer result = {state->value, state->status};

    if (unit != XB_NONE && engine->units[unit].status != XB_UNIT_FRESH) {
        result.status = engine->units[unit].status;
    }
    return result;
}

/* Work out one received quantity (rule 10). */
static void evaluate(xb_engine *engine, uint32_t index)
{
    const xb_quantity_spec *spec = &engine->spec->quantities[index];
    xb_quantity_state *state = &engine->quantities[index];
    int32_t value = state->value;
    uint8_t status = state->status;
    uint8_t origin = state->origin;
    xb_offer offers[XB_OFFER_SLOTS];

    offers[0] = offer(engine, spec->sources[0]);
    if (offers[0].status == (uint8_t)XB_VALID && origin == 0u && state->returning == 0u) {
        if (offers[0].value != value) {
            state->value = offers[0].value; /* all that xb_evaluate would do */
            xb_add_to(engine->changed, index);
        }
        return;
    }
    for (uint32_t i = 1u; i < spec->source_count; i++) {
        offers[i] = offer(engine, spec->sources[i]);
    }
    if (xb_evaluate(spec, state, offers, engine->spec->tick_ms) != 0u) {
        xb_add_to(engine->touched, index);
    }
    if (state->value != value || state->status != status || state->origin != origin) {
        xb_add_to(engine->changed, index);
    }
}

/* Work out the quantities whose sources changed, or whose hold or return is running. */
void xb_intake_quantities(xb_engine *engine)
{
    for (uint32_t i = 0u; i < XB_QUANTITY_WORDS; i++) {
        uint32_t touched = engine->touched[i];

        engine->touched[i] = 0u;
        for (uint32_t index = 32u * i; touched != 0u; index++) {
            if ((touched & 1u) != 0u) {
                evaluate(engine, index);
            }
            touched >>= 1;
        }
    }
}

/* Take no shortcut in the next tick; part of every reset and restore. */
void xb_intake_look_at_everything(xb_engine *engine)
{
    for (uint32_t i = 0u; i < engine->spec->quantity_count; i++) {
        if (engine->spec->quantities[i].source_count != 0u) {
            xb_add_to(engine->touched, i);
        }
    }
}
