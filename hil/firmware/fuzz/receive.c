/* Fuzz target: any frames and inputs into the core. Octets of the input choose what happens:
 *
 * 0 reset; 1 snapshot and restore; 2 to 99 a tick with inputs from the following octets; 100 and up
 * a frame, of which every second one has the identifier of a message the pairing receives. Besides
 * the sanitizers, the target itself checks what a caller relies on. */
#include <stdlib.h>
#include <string.h>

#include "interface.h"
#include "xlate_bridge.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const uint8_t *octets;
static size_t left;

static uint8_t next(void)
{
    uint8_t value = 0u;

    if (left > 0u) {
        value = *octets;
        octets++;
        left--;
    }
    return value;
}

static void demand(int truth)
{
    if (truth == 0) {
        abort();
    }
}

static void frame(uint8_t kind)
{
    xb_frame one;

    one.identifier = ((uint32_t)next() << 24) | ((uint32_t)next() << 8) | next();
    one.bus = kind & 3u;
    one.extended = (kind >> 2) & 1u;
    one.length = next() & 15u;
    for (uint32_t i = 0u; i < 8u; i++) {
        one.data[i] = next();
    }
    if ((kind & 1u) != 0u && xb_spec.message_count > 0u) {
        const xb_frame_key *key = &xb_spec.messages[one.identifier % xb_spec.message_count].key;

        one.identifier = key->identifier;
        one.bus = key->bus;
        one.extended = key->extended;
    }
    xb_receive(&one);
}

static void tick(void)
{
    static xb_outputs outputs;
    xb_inputs inputs;

    memset(&inputs, 0, sizeof inputs);
    inputs.supply_mv = (uint32_t)next() * 100u;
    for (uint32_t i = 0u; i < xb_spec.level_count; i++) {
        inputs.levels[i] = next() & 1u;
    }
    for (uint32_t i = 0u; i < xb_spec.analogue_count; i++) {
        inputs.counts[i] = (uint16_t)(next() << 8);
    }
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        uint8_t told = next();

        inputs.buses[i].state = told & 3u;
        inputs.buses[i].acknowledged = (told >> 2) & 1u;
        inputs.buses[i].unacknowledged = (told >> 3) & 3u;
        inputs.buses[i].errors = (told >> 5) & 7u;
    }
    xb_tick(&inputs, &outputs);
    for (uint32_t bus = 0u; bus < XB_BUSES; bus++) {
        demand(outputs.frame_counts[bus] <= XB_FRAME_SLOTS);
        demand(outputs.commands[bus] <= (uint8_t)XB_COMMAND_SLEEP);
        for (uint32_t i = 0u; i < outputs.frame_counts[bus]; i++) {
            demand(outputs.frames[bus][i].length <= 8u && outputs.frames[bus][i].bus == bus);
        }
    }
    for (uint32_t i = 0u; i < XB_DUTY_SLOTS; i++) {
        demand(outputs.duty[i] <= 10000u);
    }
    for (uint32_t i = 0u; i < xb_spec.quantity_count; i++) {
        /* A produced quantity without a first value has the value of its spec. */
        demand(xb_spec.quantities[i].low <= xb_spec.quantities[i].high);
    }
}

static void snapshot(void)
{
    static uint8_t image[XB_IMAGE_OCTETS];
    uint32_t before = xb_digest();

    demand(xb_image(image) == XB_IMAGE_OCTETS);
    xb_restore(image, 0u, XB_IMAGE_OCTETS);
    demand(xb_digest() == before);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    octets = data;
    left = size;
    xb_reset(XB_RESET_POWER_ON, NULL);
    while (left > 0u) {
        uint8_t kind = next();

        if (kind == 0u) {
            xb_reset((xb_reset_cause)(next() % 5u), NULL);
        } else if (kind == 1u) {
            snapshot();
        } else if (kind < 100u) {
            tick();
        } else {
            frame(kind);
        }
    }
    return 0;
}
