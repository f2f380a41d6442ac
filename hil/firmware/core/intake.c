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

    for (uint32_t i = 0u; i < xb_spec.own_key_count; i++) {
        if (same_key(&xb_spec.own_keys[i], frame) != 0u) {
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
    xb_decode_unit(&xb_spec.units[index], xb_spec.sources, engine->sources,
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
    const xb_bridge_spec *spec = &xb_spec;
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
    for (uint32_t i = 0u; i < unit->touch_count; i++) {
        engine->touched[unit->touches[i].word] |= unit->touches[i].bits;
    }
}

/* React to a unit that became stale or "never received": its sources are forgotten unless it was
 * received again, and with the whole message gone the next counter goes unchecked. */
static void unit_gone(xb_engine *engine, uint16_t index)
{
    const xb_unit_spec *unit = &xb_spec.units[index];
    const xb_message_spec *message = &xb_spec.messages[unit->message];

    touch_unit(engine, unit);
    for (uint32_t i = 0u; i < unit->source_count; i++) {
        xb_forget(&engine->sources[unit->sources[i]]);
    }
    for (uint32_t i = 0u; i < message->unit_count; i++) {
        const xb_unit_state *other = &engine->units[message->units[i]];

        if (other->status == XB_UNIT_FRESH || other->fresh != 0u) {
            return;
        }
    }
    engine->messages[unit->message].reference = XB_NO_REFERENCE;
}

/* Let one tick pass for a unit (rule 7): the age that its clock drives, what it received, its
 * deadline. A new start of the clock puts it back to "never received" with age 0; while the clock
 * stands, the age does. */
static void pass_unit(xb_engine *engine, uint16_t index, uint8_t enabled, uint8_t started)
{
    const xb_unit_spec *spec = &xb_spec.units[index];
    xb_unit_state *unit = &engine->units[index];

    /* AGE */
    if (started != 0u) {
        unit->status = XB_UNIT_NEVER_RECEIVED;
        unit->age = 0u;
        if (unit->fresh == 0u) {
            unit_gone(engine, index);
        }
    } else if (enabled != 0u) {
        unit->age = xb_add_one(unit->age);
    }

    /* RECEIVED */
    if (unit->fresh != 0u) {
        unit->fresh = 0u;
        unit->age = 0u;
        if (unit->status != XB_UNIT_FRESH) {
            unit->status = XB_UNIT_FRESH;
            touch_unit(engine, spec);
        }
    }

    /* DEADLINE */
    if (enabled != 0u && xb_unit_expires(spec, unit) != 0u) {
        unit->status = XB_UNIT_STALE;
        unit_gone(engine, index);
    }
}

/* Start or stop one supervision clock by its condition and let a tick pass for its units. */
static void run_clock(xb_engine *engine, const xb_clock_spec *clock, xb_clock_state *state)
{
    uint8_t enabled = xb_holds(engine, clock->condition);
    uint8_t started = enabled != 0u && state->enabled == 0u;

#if XB_PROFILES > 0
    for (uint32_t i = 0u; i < xb_spec.profile_count; i++) {
        if (started != 0u && &engine->clocks[xb_spec.profiles[i].clock] == state) {
            xb_profile_begin(&engine->profiles[i]);
        }
    }
#endif
    for (uint32_t i = 0u; i < clock->unit_count; i++) {
        pass_unit(engine, clock->units[i], enabled, started);
    }
    state->enabled = enabled;
}

/* Run the deadlines phase of a tick (rule 7). Every unit belongs to one clock, so one pass over the
 * clocks lets the tick pass for every unit; what a unit's loss means to its message (unit_gone)
 * comes out the same in any order of the units. */
void xb_intake_deadlines(xb_engine *engine)
{
    const xb_bridge_spec *spec = &xb_spec;

    for (uint32_t i = 0u; i < spec->clock_count; i++) {
        run_clock(engine, &spec->clocks[i], &engine->clocks[i]);
    }
#if XB_PROFILES > 0
    for (uint32_t i = 0u; i < spec->profile_count; i++) {
        xb_profile_pass_time(&spec->profiles[i], &engine->profiles[i],
                             engine->clocks[spec->profiles[i].clock].enabled);
    }
#endif
}

/* Return value and status of a source, the supervision of its unit looked at (rule 8). */
static xb_offer offer(const xb_engine *engine, uint16_t source)
{
    const xb_source_state *state = &engine->sources[source];
    int32_t unit = xb_spec.sources[source].unit;
    xb_offer result = {state->value, state->status};

    if (unit != XB_NONE && engine->units[unit].status != XB_UNIT_FRESH) {
        result.status = engine->units[unit].status;
    }
    return result;
}

/* What came of a set of quantities, one bit each. */
typedef struct {
    uint32_t changed;
    uint32_t again; /* to be looked at in the next tick: a hold or a return is running */
} xb_evaluated;

/* Work out one received quantity from all its sources (rule 10). */
static void evaluate(const xb_engine *engine, const xb_quantity_spec *spec,
                     xb_quantity_state *state, uint32_t bit, xb_evaluated *evaluated)
{
    int32_t value = state->value;
    uint8_t status = state->status;
    uint8_t origin = state->origin;
    xb_offer offers[XB_OFFER_SLOTS];

    for (uint32_t i = 0u; i < spec->source_count; i++) {
        offers[i] = offer(engine, spec->sources[i]);
    }
    if (xb_evaluate(spec, state, offers, xb_spec.tick_ms) != 0u) {
        evaluated->again |= bit;
    }
    if (state->value != value || state->status != status || state->origin != origin) {
        evaluated->changed |= bit;
    }
}

/* Work out the quantities of one word of the set that show their first source anyway, while it is
 * valid: all that xb_evaluate would do is to take its value. Return the bits of all others.
 *
 * The unit of a valid source need not be looked at: its loss forgets the source. */
static uint32_t follow_first(const xb_engine *engine, const xb_quantity_spec *specs,
                             xb_quantity_state *states, uint32_t touched, xb_evaluated *evaluated)
{
    uint32_t others = 0u;

    for (uint32_t left = touched; left != 0u; left &= left - 1u) {
        uint32_t bit = xb_lowest(left);
        uint32_t place = xb_bit_place(bit);
        const xb_source_state *first = &engine->sources[specs[place].sources[0]];
        xb_quantity_state *state = &states[place];

        if (first->status != (uint8_t)XB_VALID || state->origin != 0u || state->returning != 0u) {
            others |= bit;
        } else if (first->value != state->value) {
            state->value = first->value;
            evaluated->changed |= bit;
        } else {
            /* as it was */
        }
    }
    return others;
}

/* Work out the quantities whose sources changed, or whose hold or return is running. */
void xb_intake_quantities(xb_engine *engine)
{
    for (uint32_t word = 0u; word < XB_QUANTITY_WORDS; word++) {
        const xb_quantity_spec *specs = &xb_spec.quantities[32u * word];
        xb_quantity_state *states = &engine->quantities[32u * word];
        xb_evaluated evaluated = {0u, 0u};
        uint32_t left = follow_first(engine, specs, states, engine->touched[word], &evaluated);

        for (; left != 0u; left &= left - 1u) {
            uint32_t bit = xb_lowest(left);
            uint32_t place = xb_bit_place(bit);

            evaluate(engine, &specs[place], &states[place], bit, &evaluated);
        }
        engine->touched[word] = evaluated.again;
        engine->changed[word] |= evaluated.changed;
    }
}

/* Take no shortcut in the next tick; part of every reset and restore. */
void xb_intake_look_at_everything(xb_engine *engine)
{
    for (uint32_t i = 0u; i < xb_spec.quantity_count; i++) {
        if (xb_spec.quantities[i].source_count != 0u) {
            xb_add_to(engine->touched, i);
        }
    }
}
