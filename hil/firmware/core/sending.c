/* From quantities to frames: the sending half of the engine (rules 12 and 13). */
#include "sending.h"

#include "unrolling.h"

/* Keep an accepted frame for this tick's transmission phase. */
void xb_sending_route(xb_engine *engine, uint32_t message, const xb_frame *frame)
{
    const xb_message_spec *spec = &xb_spec.messages[message];

    for (uint32_t i = 0u; i < spec->route_count; i++) {
        uint16_t route = spec->routes[i];
        const xb_route_spec *one = &xb_spec.routes[route];

        xb_enqueue(one, &engine->routes[route], &engine->waiting[one->first],
                   &engine->waiting_counts[route], frame);
    }
}

/* Return the place of the next frame to hand over on a bus. There is one for every message and
 * for every waiting frame, so it never overruns. */
static xb_frame *next_frame(xb_outputs *outputs, uint8_t bus)
{
    uint32_t place = outputs->frame_counts[bus];

    outputs->frame_counts[bus] += 1u;
    return &outputs->frames[bus][place];
}

/* Note that a message that leaves on change must be packed anew because a quantity changed. */
static void note_changes(xb_engine *engine, uint32_t index)
{
    const xb_transmit_spec *spec = &xb_spec.transmits[index];
    uint32_t changed = 0u;

    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->watched_count; i++) {
        changed |= engine->changed[spec->watched[i].word] & spec->watched[i].bits;
    }
    if (changed != 0u) {
        engine->unpacked[index] = 1u;
    }
}

/* Return a message's payload before counter and checksum. One that leaves on change is looked at in
 * every tick and packed anew where a quantity changed. */
static uint64_t payload_of(xb_engine *engine, uint32_t index)
{
    const xb_transmit_spec *spec = &xb_spec.transmits[index];
    uint64_t payload;

    if (spec->on_change != 0u && engine->unpacked[index] == 0u) {
        return engine->payloads[index];
    }
    payload = xb_pack(spec, &xb_all_quantities);
    if (spec->on_change != 0u) {
        engine->payloads[index] = payload;
        engine->unpacked[index] = 0u;
    }
    return payload;
}

/* Hand one message over if it is due; `may_send` says of each bus whether own messages may leave on
 * it in this tick. */
static void send_if_due(xb_engine *engine, uint32_t index, const uint8_t *may_send,
                        xb_outputs *outputs)
{
    const xb_transmit_spec *spec = &xb_spec.transmits[index];
    xb_transmit_state *slot = &engine->transmits[index];
    uint8_t bus = spec->envelope->key.bus;
    uint64_t payload = 0u;

    if (spec->on_change != 0u) {
        note_changes(engine, index);
    }
    if (spec->on_loss == (uint8_t)XB_STOP) {
        slot->stopped = xb_source_lost(spec, &xb_all_quantities);
    }
    if (xb_holds(engine, spec->condition) == 0u) {
        slot->started = 0u;
        slot->due_in = 0u;
        return;
    }
    if (slot->started == 0u) {
        xb_transmit_start(spec, slot);
    }
    if (spec->on_change != 0u || slot->due_in == 0u) {
        payload = payload_of(engine, index);
    }
    if (xb_transmit_due(spec, slot, payload) != 0u && may_send[bus] != 0u) {
        xb_hand_over(spec->envelope, slot, payload, next_frame(outputs, bus));
    }
}

/* Hand over routed frames, then the messages due in the listed order. */
void xb_sending_transmit(xb_engine *engine, xb_outputs *outputs)
{
    const xb_bridge_spec *spec = &xb_spec;
    uint8_t may_send[XB_BUSES];

    /* ROUTES */
    outputs->frame_counts[XB_BODY] = 0u;
    outputs->frame_counts[XB_ENGINE] = 0u;
    for (uint32_t i = 0u; i < spec->route_count; i++) {
        for (uint32_t k = 0u; k < engine->waiting_counts[i]; k++) {
            uint8_t bus = spec->routes[i].bus;

            if (engine->commands[bus] == (uint8_t)XB_COMMAND_NORMAL) {
                *next_frame(outputs, bus) = engine->waiting[spec->routes[i].first + k];
            } else {
                engine->buses[bus].discarded = xb_count(engine->buses[bus].discarded);
            }
        }
        engine->waiting_counts[i] = 0u;
    }

    /* VALUES, DUE, PACK, COUNTER, CHECKSUM; then one tick passes */
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        may_send[i] =
            engine->commands[i] == (uint8_t)XB_COMMAND_NORMAL && engine->sleep.quiet == 0u;
    }
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->transmit_count; i++) {
        send_if_due(engine, i, may_send, outputs);
    }
    for (uint32_t i = 0u; i < spec->transmit_count; i++) {
        xb_transmit_pass(&engine->transmits[i]);
    }
    for (uint32_t i = 0u; i < XB_QUANTITY_WORDS; i++) {
        engine->changed[i] = 0u;
    }
}

/* Take no shortcut in the next tick; part of every reset and restore. */
void xb_sending_look_at_everything(xb_engine *engine)
{
    for (uint32_t i = 0u; i < xb_spec.transmit_count; i++) {
        engine->unpacked[i] = 1u;
    }
}
