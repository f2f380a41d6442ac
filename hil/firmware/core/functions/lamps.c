/* Lamp panel: warning lamps with bulb check, delays, and on when their data is lost. */
#include "lamps.h"

#include "arithmetic.h"
#include "unrolling.h"

/* Return whether a cause begins. */
static uint8_t begins(const xb_lamp_cause_spec *cause, const xb_quantity_state *source)
{
    if (cause->on < cause->off) {
        return source->value <= cause->on;
    }
    return source->value >= cause->on;
}

/* Return whether a cause ends. */
static uint8_t ends(const xb_lamp_cause_spec *cause, const xb_quantity_state *source)
{
    if (cause->on < cause->off) {
        return source->value >= cause->off;
    }
    return source->value <= cause->off;
}

/* Move the hysteresis of every cause; one whose data is not there does not last. */
static XB_INSIDE void follow(const xb_lamp_spec *spec, xb_lamp_state *state,
                             const xb_store *store, uint8_t judged)
{
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->cause_count; i++) {
        const xb_lamp_cause_spec *cause = &spec->causes[i];
        const xb_quantity_state *source = &store->states[cause->quantity];
        uint8_t bit = (uint8_t)(1u << i);

        if (judged == 0u || xb_usable(source) == 0u || ends(cause, source) != 0u) {
            state->causes = (uint8_t)(state->causes & ~(uint32_t)bit);
        } else if (begins(cause, source) != 0u) {
            state->causes = (uint8_t)(state->causes | bit);
        }
    }
}

/* Follow the causes when they last longer than the delay. */
static void delay(const xb_lamp_spec *spec, xb_lamp_state *state)
{
    uint8_t wanted = state->causes != 0u;

    if (wanted == state->lit) {
        state->differs = 0u;
        return;
    }
    state->differs = xb_add_one(state->differs);
    if (state->differs > (wanted != 0u ? spec->on_delay : spec->off_delay)) {
        state->lit = wanted;
        state->differs = 0u;
    }
}

/* Return whether data of a lamp is lost. */
static XB_INSIDE uint8_t data_lost(const xb_lamp_spec *spec, const xb_store *store)
{
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->cause_count; i++) {
        if (xb_lost(&store->states[spec->causes[i].quantity]) != 0u) {
            return 1u;
        }
    }
    return 0u;
}

/* Run one control tick. */
XB_INSIDE
void xb_lamp_panel_step(const xb_lamp_panel_spec *spec, xb_lamp_panel_state *state,
                        xb_lamp_state *lamps, const xb_store *store, const xb_power_state *power)
{
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t started;

    state->failsafe = 0u;

    /* TIMERS: bulb check from ignition on, time since the engine runs */
    if (ignition == 0u) {
        state->check_left = 0u;
    } else if (state->ignition == 0u) {
        state->check_left = spec->bulb_check;
    } else if (state->check_left > 0u) {
        state->check_left -= 1u;
    }
    state->ignition = ignition;
    state->run_time = power->mode == (uint8_t)XB_RUNNING ? xb_add_one(state->run_time) : 0u;
    started = state->run_time > spec->after_start;

    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->lamp_count; i++) {
        const xb_lamp_spec *lamp = &spec->lamps[i];
        uint8_t missing;
        uint8_t judged;
        uint8_t forced;
        uint8_t checked;

        /* LOSS */
        missing = ignition != 0u && data_lost(lamp, store) != 0u;
        state->failsafe = state->failsafe != 0u || missing != 0u;

        /* REQUEST: at once on loss and before the engine runs, with delay for the causes */
        judged = ignition != 0u && (lamp->standing == (uint8_t)XB_LAMP_JUDGED || started != 0u);
        follow(lamp, &lamps[i], store, judged);
        forced = (missing != 0u && lamp->lit_on_loss != 0u) ||
                 (judged == 0u && lamp->standing == (uint8_t)XB_LAMP_LIT);
        if (ignition == 0u) {
            lamps[i].lit = 0u;
            lamps[i].differs = 0u;
        } else if (forced != 0u) {
            lamps[i].lit = 1u;
            lamps[i].differs = 0u;
        } else {
            delay(lamp, &lamps[i]);
        }

        /* OUTPUT */
        checked = lamp->in_bulb_check != 0u && state->check_left > 0u;
        xb_publish(store, lamp->output, lamps[i].lit != 0u || checked != 0u, (uint8_t)XB_VALID, 1u);
    }
}
