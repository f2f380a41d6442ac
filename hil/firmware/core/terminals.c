/* What the terminals of the module say and carry: the pin phases of a tick (rule 3). */
#include "terminals.h"
#include "unrolling.h"

/* Write what a pin says to its source; its quantity is looked at when that is new. */
static void say(xb_engine *engine, int32_t source, int32_t value, uint8_t status)
{
    xb_source_state *state;

    if (source == XB_NONE) {
        return;
    }
    state = &engine->sources[source];
    if (value != state->value || status != state->status) {
        state->value = value;
        state->status = status;
        xb_add_to(engine->touched, xb_spec.sources[source].quantity);
    }
}

/* What an analogue reading means to the quantity that comes from it, by xb_reading. */
static const uint8_t read_as[] = {(uint8_t)XB_VALID, (uint8_t)XB_ERROR, (uint8_t)XB_ERROR,
                                  (uint8_t)XB_IMPLAUSIBLE};

/* Debounce switches and measure analogue inputs into their sources. */
void xb_terminals_read(xb_engine *engine, const xb_inputs *inputs)
{
    const xb_bridge_spec *spec = &xb_spec;

    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->level_count; i++) {
        xb_debounce(&spec->levels[i], &engine->levels[i], inputs->levels[i]);
        say(engine, spec->levels[i].source, engine->levels[i].active, (uint8_t)XB_VALID);
    }
    for (uint32_t i = 0u; i < spec->analogue_count; i++) {
        int32_t source = spec->analogues[i].source;
        int32_t value = source != XB_NONE ? engine->sources[source].value : 0;
        xb_reading reading = xb_measure(&spec->analogues[i], inputs->counts[i], &value);

        /* what is no good reading leaves the value as it was */
        say(engine, source, value, read_as[reading]);
        if (spec->analogues[i].wiring != XB_NONE) {
            xb_publish(&xb_all_quantities, spec->analogues[i].wiring, (int32_t)reading,
                       (uint8_t)XB_VALID, 1u);
        }
    }
}

/* Work out what the output pins carry. */
void xb_terminals_drive(const xb_engine *engine, xb_outputs *outputs)
{
    const xb_bridge_spec *spec = &xb_spec;

    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->output_count; i++) {
        const xb_output_pin_spec *pin = &spec->outputs[i];
        uint32_t driven = xb_drive(pin, engine->quantities[pin->quantity].value);

        if (pin->kind == (uint8_t)XB_PIN_LEVEL) {
            outputs->levels[pin->place] = (uint8_t)driven;
        } else if (pin->kind == (uint8_t)XB_PIN_DUTY) {
            outputs->duty[pin->place] = (uint16_t)driven;
        } else {
            outputs->frequency[pin->place] = driven;
        }
    }
}
