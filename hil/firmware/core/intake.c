/* From frames to quantities: the receiving half of the engine (rules 3, 5 to 8 and 10).
 *
 * xb_intake_receive runs on arrival; deadlines and quantities are phases of a tick. */
#include "intake.h"

#include <stddef.h>

#include "arithmetic.h"
#include "decoding.h"
#include "unrolling.h"

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
XB_APART
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

/* Make a unit stale: it has its quantities looked at and is forgotten. */
XB_APART
static void lose_unit(xb_engine *engine, uint16_t index)
{
    engine->units[index].status = XB_UNIT_STALE;
    unit_gone(engine, index);
}

/* Put a unit back to "never received" with age 0, since its clock starts anew. */
static void begin_unit(xb_engine *engine, uint16_t index)
{
    xb_unit_state *unit = &engine->units[index];

    unit->status = XB_UNIT_NEVER_RECEIVED;
    unit->age = 0u;
    if (unit->fresh == 0u) {
        unit_gone(engine, index);
    }
}

/* Let one tick pass for a unit (rule 7): what it received, the age that its clock drives, its
 * deadline. While the clock stands, the age does; in the tick of its start the age is 0. */
static void pass_unit(xb_engine *engine, uint16_t index, uint8_t running)
{
    const xb_unit_spec *spec = &xb_spec.units[index];
    xb_unit_state *unit = &engine->units[index];

    /* RECEIVED */
    if (unit->fresh != 0u) {
        unit->fresh = 0u;
        unit->age = 0u;
        if (unit->status != XB_UNIT_FRESH) {
            unit->status = XB_UNIT_FRESH;
            touch_unit(engine, spec);
        }
    } else if (running != 0u) {
        /* AGE, DEADLINE */
        unit->age = xb_add_one(unit->age);
        if (xb_unit_expires(spec, unit) != 0u) {
            lose_unit(engine, index);
        }
    } else {
        /* its age stands */
    }
}

/* Begin the supervision of all units of a clock. */
XB_APART
static void start_clock(xb_engine *engine, const xb_clock_spec *clock)
{
    for (uint32_t i = 0u; i < clock->unit_count; i++) {
        begin_unit(engine, clock->units[i]);
    }
#if XB_PROFILES > 0
    for (uint32_t i = 0u; i < xb_spec.profile_count; i++) {
        if (&xb_spec.clocks[xb_spec.profiles[i].clock] == clock) {
            xb_profile_begin(&engine->profiles[i]);
        }
    }
#endif
}

/* Start or stop one supervision clock by its condition and let a tick pass for its units. */
static void run_clock(xb_engine *engine, const xb_clock_spec *clock, xb_clock_state *state)
{
    uint8_t enabled = xb_holds(engine, clock->condition);
    uint8_t started = enabled != 0u && state->enabled == 0u;

    if (started != 0u) {
        start_clock(engine, clock);
    }
    XB_UNROLLED
    for (uint32_t i = 0u; i < clock->unit_count; i++) {
        pass_unit(engine, clock->units[i], enabled != 0u && started == 0u);
    }
    state->enabled = enabled;
}

/* Run the deadlines phase of a tick (rule 7). Every unit belongs to one clock, so one pass over the
 * clocks lets the tick pass for every unit; what a unit's loss means to its message (unit_gone)
 * comes out the same in any order of the units. */
void xb_intake_deadlines(xb_engine *engine)
{
    const xb_bridge_spec *spec = &xb_spec;

    XB_UNROLLED
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

/* Return the status a source offers that is not valid: its unit's while that is lost (rule 8). One
 * that is valid needs no such look, since the loss of its unit forgets it. */
static uint8_t offered(const xb_engine *engine, uint16_t source)
{
    int32_t unit = xb_spec.sources[source].unit;

    if (unit != XB_NONE && engine->units[unit].status != XB_UNIT_FRESH) {
        return engine->units[unit].status;
    }
    return engine->sources[source].status;
}

/* Work out a plain quantity (rule 10): its only source, or what stands in for it. Return what became
 * of it; a loss counts as a change. */
static uint8_t evaluate_plain(xb_engine *engine, uint32_t index)
{
    const xb_delivery_spec *spec = xb_spec.deliveries[index];
    xb_quantity_state *state = &engine->quantities[index];
    const xb_source_state *only = &engine->sources[spec->sources[0]];

    if (only->status != (uint8_t)XB_VALID) {
        xb_substitute(spec, state, offered(engine, spec->sources[0]));
    } else if (state->origin != 0u || only->value != state->value) {
        state->value = only->value;
        state->status = (uint8_t)XB_VALID;
        state->origin = 0u;
    } else {
        return 0u;
    }
    return (uint8_t)XB_QUANTITY_CHANGED;
}

/* Work out any other received quantity (rule 10); return what became of it. All that comes of a
 * first source that stays valid is its value. */
static uint8_t evaluate(xb_engine *engine, uint32_t index)
{
    const xb_delivery_spec *spec = xb_spec.deliveries[index];
    xb_quantity_state *state = &engine->quantities[index];
    const xb_source_state *first = &engine->sources[spec->sources[0]];

    if (first->status != (uint8_t)XB_VALID || state->origin != 0u || state->returning != 0u) {
        return xb_evaluate(spec, state, engine->sources, offered(engine, spec->sources[0]),
                           xb_spec.tick_ms);
    }
    if (first->value == state->value) {
        return 0u;
    }
    state->value = first->value;
    return (uint8_t)XB_QUANTITY_CHANGED;
}

/* Return whether a quantity is there and comes from sources. */
static uint8_t is_received(uint32_t index)
{
    return index < xb_spec.quantity_count && xb_spec.deliveries[index] != NULL;
}

/* Work out the quantities whose sources changed, or whose hold or return is running. */
void xb_intake_quantities(xb_engine *engine)
{
    XB_UNROLLED
    for (uint32_t word = 0u; word < XB_QUANTITY_WORDS; word++) {
        uint32_t touched = engine->touched[word];
        uint32_t changed = engine->changed[word];
        uint32_t again = 0u;

        if (touched == 0u) {
            continue;
        }
        XB_UNROLLED
        for (uint32_t place = 0u; place < 32u; place++) {
            uint32_t index = 32u * word + place;
            uint32_t bit = (uint32_t)1u << place;

            if ((touched & bit) != 0u && is_received(index) != 0u) {
                uint8_t became = xb_spec.deliveries[index]->plain != 0u
                                     ? evaluate_plain(engine, index)
                                     : evaluate(engine, index);

                changed |= (became & XB_QUANTITY_CHANGED) != 0u ? bit : 0u;
                again |= (became & XB_QUANTITY_AGAIN) != 0u ? bit : 0u;
            }
        }
        engine->touched[word] = again;
        engine->changed[word] = changed;
    }
}

/* Take no shortcut in the next tick; part of every reset and restore. */
void xb_intake_look_at_everything(xb_engine *engine)
{
    XB_UNROLLED
    for (uint32_t i = 0u; i < xb_spec.quantity_count; i++) {
        if (is_received(i) != 0u) {
            xb_add_to(engine->touched, i);
        }
    }
}
