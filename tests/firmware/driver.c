/* Runs the core on a stream of records, to be built with sanitizers.
 *
 * 'F' frame: identifier (4 octets, little-endian), bus, extended, raw length code, 8 octets.
 * 'T' tick: supply in mV (4), one octet a level input, two octets an analogue input, four octets a
 * bus. Answered with the digest (4).
 * 'R' reset by command with kept memory. The end of the input ends the run with 0; a torn record with 2. */
#include <stdio.h>

#include "interface.h"
#include "xlate_bridge.h"

static uint32_t number(const uint8_t *octets, uint32_t count)
{
    uint32_t value = 0u;

    for (uint32_t i = 0u; i < count; i++) {
        value |= (uint32_t)octets[i] << (8u * i);
    }
    return value;
}

static int frame(void)
{
    uint8_t octets[15];
    xb_frame taken;

    if (fread(octets, 1u, sizeof octets, stdin) != sizeof octets) {
        return 2;
    }
    taken.identifier = number(octets, 4u);
    taken.bus = octets[4];
    taken.extended = octets[5];
    taken.length = octets[6];
    for (uint32_t i = 0u; i < 8u; i++) {
        taken.data[i] = octets[7u + i];
    }
    xb_receive(&taken);
    return 0;
}

static int tick(void)
{
    static xb_outputs outputs;
    xb_inputs inputs = {0};
    uint8_t octets[4];
    uint32_t digest;

    if (fread(octets, 1u, 4u, stdin) != 4u) {
        return 2;
    }
    inputs.supply_mv = number(octets, 4u);
    for (uint32_t i = 0u; i < xb_spec.level_count; i++) {
        if (fread(&inputs.levels[i], 1u, 1u, stdin) != 1u) {
            return 2;
        }
    }
    for (uint32_t i = 0u; i < xb_spec.analogue_count; i++) {
        if (fread(octets, 1u, 2u, stdin) != 2u) {
            return 2;
        }
        inputs.counts[i] = (uint16_t)number(octets, 2u);
    }
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        if (fread(octets, 1u, 4u, stdin) != 4u) {
            return 2;
        }
        inputs.buses[i].state = octets[0];
        inputs.buses[i].acknowledged = octets[1];
        inputs.buses[i].unacknowledged = octets[2];
        inputs.buses[i].errors = octets[3];
    }
    xb_tick(&inputs, &outputs);
    digest = xb_digest();
    for (uint32_t i = 0u; i < 4u; i++) {
        putchar((int)((digest >> (8u * i)) & 0xFFu));
    }
    return 0;
}

int main(void)
{
    static uint8_t kept[XB_KEPT_OCTETS];
    int result = 0;

    xb_reset(XB_RESET_POWER_ON, NULL);
    for (int kind = getchar(); kind != EOF && result == 0; kind = getchar()) {
        if (kind == 'F') {
            result = frame();
        } else if (kind == 'T') {
            result = tick();
        } else if (kind == 'R') {
            (void)xb_kept(kept);
            xb_reset(XB_RESET_COMMANDED, kept);
        } else {
            result = 2;
        }
    }
    return result;
}
