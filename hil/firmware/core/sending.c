/* From quantities to frames: the sending half of the engine (rules 12 and 13). */
#include "sending.h"

/* Keep an accepted frame for this tick's transmission phase. */
void xb_sending_route(xb_engine *engine, uint32_t message, const xb_frame *frame)
{
    const xb_message_spec *spec = &engine->spec->messages[message];

    for (uint32_t i = 0u; i < spec->route_count; i++) {
        uint16_t route = spec->routes[i];
        const xb_route_spec *one = &engine->spec->routes[route];

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

/* Hand one message over if it is due. */
static void send_if_due(xb_engine *engine, uint32_t index, xb_outputs *outputs)
{
    const xb_transmit_spec *spec = &engine->spec->transmits[index];
    xb_transmit_state *slot = &engine->transmits[index];
    uint64_t payload = xb_pack(spec, &engine->store);

    slot->stopped = xb_source_lost(spec, &engine->store);
    if (xb_holds(engine, spec->condition) == 0u) {
        slot->started = 0u;
        slot->due_in = 0u;
        return;
    }
    if (slot->started == 0u) {
        xb_transmit_start(spec, slot);
    }
    if (xb_transmit_due(spec, slot, payload) != 0u) {
        xb_hand_over(spec, slot, payload, next_frame(outputs, spec->key.bus));
    }
}

/* Hand over routed frames, then the messages due in the listed order. */
void xb_sending_transmit(xb_engine *engine, xb_outputs *outputs)
{
    const xb_bridge_spec *spec = engine->spec;

    /* ROUTES */
    outputs->frame_counts[XB_BODY] = 0u;
    outputs->frame_counts[XB_ENGINE] = 0u;
    for (uint32_t i = 0u; i < spec->route_count; i++) {
        for (uint32_t k = 0u; k < engine->waiting_counts[i]; k++) {
            *next_frame(outputs, spec->routes[i].bus) = engine->waiting[spec->routes[i].first + k];
        }
        engine->waiting_counts[i] = 0u;
    }

    /* VALUES, DUE, PACK, COUNTER, CHECKSUM; then one tick passes */
    for (uint32_t i = 0u; i < spec->transmit_count; i++) {
        send_if_due(engine, i, outputs);
        xb_transmit_pass(&engine->transmits[i]);
    }
}
