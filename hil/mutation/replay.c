/* Runs the core on the stimulus of a whole corpus at full speed, and writes or checks what it does.
 *
 * replay record STIMULUS RESULT   writes one number a tick and one a digest;
 * replay check STIMULUS RESULT    compares with them: exit code 0 equal, 1 at the first difference,
 *                                 2 for a file that cannot be read.
 *
 * Stimulus, little-endian: 'B' power-on; 'R' reset: cause, 1 = memory is kept; 'F' frame: identifier
 * (4), bus, extended, length, 8 octets; 'T' tick: supply in mV (4), one octet a level input, two an
 * analogue input, four a bus (state, acknowledged, unacknowledged, errors); 'I' so many (4) more
 * ticks with the inputs of the last one; 'D' digest. */
#include <stdio.h>
#include <string.h>

#include "interface.h"
#include "xlate_bridge.h"

static FILE *stimulus;
static FILE *result;
static int checking;
static int different;

static uint32_t number(uint32_t octets)
{
    uint32_t value = 0u;

    for (uint32_t i = 0u; i < octets; i++) {
        value |= ((uint32_t)getc(stimulus) & 0xFFu) << (8u * i);
    }
    return value;
}

/* Our own sum, so that a fault in the core's CRC cannot hide itself. */
static uint32_t fold(uint32_t sum, const void *data, size_t octets)
{
    const uint8_t *octet = data;

    for (size_t i = 0u; i < octets; i++) {
        sum = (sum ^ octet[i]) * 16777619u;
    }
    return sum;
}

static void tell(uint32_t value)
{
    uint32_t expected = 0u;

    if (checking == 0) {
        fwrite(&value, sizeof value, 1u, result);
    } else if (fread(&expected, sizeof expected, 1u, result) != 1u || expected != value) {
        different = 1;
    }
}

static uint32_t sum_of(const xb_outputs *outputs)
{
    uint32_t sum = 2166136261u;

    for (uint32_t bus = 0u; bus < XB_BUSES; bus++) {
        sum = fold(sum, &outputs->frame_counts[bus], sizeof outputs->frame_counts[bus]);
        for (uint32_t i = 0u; i < outputs->frame_counts[bus] && i < XB_FRAME_SLOTS; i++) {
            const xb_frame *frame = &outputs->frames[bus][i];

            sum = fold(sum, &frame->identifier, sizeof frame->identifier);
            sum = fold(sum, &frame->bus, 1u);
            sum = fold(sum, &frame->extended, 1u);
            sum = fold(sum, &frame->length, 1u);
            sum = fold(sum, frame->data, frame->length <= 8u ? frame->length : 8u);
        }
    }
    sum = fold(sum, outputs->frequency, sizeof outputs->frequency);
    sum = fold(sum, outputs->duty, sizeof outputs->duty);
    sum = fold(sum, outputs->levels, sizeof outputs->levels);
    sum = fold(sum, outputs->commands, sizeof outputs->commands);
    return fold(sum, &outputs->power_hold, 1u);
}

static void run_tick(const xb_inputs *inputs)
{
    static xb_outputs outputs;

    xb_tick(inputs, &outputs);
    tell(sum_of(&outputs));
}

static void take_frame(void)
{
    xb_frame frame;

    frame.identifier = number(4u);
    frame.bus = (uint8_t)number(1u);
    frame.extended = (uint8_t)number(1u);
    frame.length = (uint8_t)number(1u);
    for (uint32_t i = 0u; i < 8u; i++) {
        frame.data[i] = (uint8_t)number(1u);
    }
    xb_receive(&frame);
}

static void restart(void)
{
    static uint8_t kept[XB_KEPT_OCTETS];
    xb_reset_cause cause = (xb_reset_cause)number(1u);

    if (number(1u) != 0u) {
        (void)xb_kept(kept);
        xb_reset(cause, kept);
    } else {
        xb_reset(cause, NULL);
    }
}

int main(int count, char **words)
{
    static xb_inputs inputs;

    if (count != 4) {
        return 2;
    }
    checking = strcmp(words[1], "check") == 0;
    stimulus = fopen(words[2], "rb");
    result = fopen(words[3], checking != 0 ? "rb" : "wb");
    if (stimulus == NULL || result == NULL) {
        return 2;
    }
    for (int kind = getc(stimulus); kind != EOF && different == 0; kind = getc(stimulus)) {
        if (kind == 'B') {
            xb_reset(XB_RESET_POWER_ON, NULL);
        } else if (kind == 'R') {
            restart();
        } else if (kind == 'F') {
            take_frame();
        } else if (kind == 'T') {
            inputs.supply_mv = number(4u);
            for (uint32_t i = 0u; i < xb_spec.level_count; i++) {
                inputs.levels[i] = (uint8_t)number(1u);
            }
            for (uint32_t i = 0u; i < xb_spec.analogue_count; i++) {
                inputs.counts[i] = (uint16_t)number(2u);
            }
            for (uint32_t i = 0u; i < XB_BUSES; i++) {
                inputs.buses[i].state = (uint8_t)number(1u);
                inputs.buses[i].acknowledged = (uint8_t)number(1u);
                inputs.buses[i].unacknowledged = (uint8_t)number(1u);
                inputs.buses[i].errors = (uint8_t)number(1u);
            }
            run_tick(&inputs);
        } else if (kind == 'I') {
            for (uint32_t left = number(4u); left > 0u && different == 0; left--) {
                run_tick(&inputs);
            }
        } else if (kind == 'D') {
            tell(xb_digest());
        } else {
            return 2;
        }
    }
    fclose(stimulus);
    fclose(result);
    return different;
}
