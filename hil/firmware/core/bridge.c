/* The one object with life: frames and inputs in, frames and outputs out (rules 1, 2 and 3).
 *
 * One tick runs in one order: pins, buses, deadlines, quantities; on control ticks faults, power
 * mode and functions; routes, transmissions, output pins; then everything conditions look at is committed.
 * What cannot have changed is not computed: a matter of speed only.
 *
 * Each phase is the work of one part: terminals.c, bus_watch.c, intake.c, control.c, sending.c. What
 * they share is the engine (interface.h). */
#include "arithmetic.h"
#include "bus_watch.h"
#include "control.h"
#include "intake.h"
#include "interface.h"
#include "kept_memory.h"
#include "sending.h"
#include "state_image.h"
#include "terminals.h"
#include "unrolling.h"
#include "xlate_bridge.h"

static xb_engine engine;

const xb_store xb_all_quantities = {xb_quantity_specs, engine.quantities, engine.changed,
                                    engine.touched};

/* Judge the conditions on this tick's results, for use in the next one. */
static void commit(void)
{
    XB_UNROLLED
    for (uint32_t i = 0u; i < xb_spec.condition_count; i++) {
        engine.conditions[i].holds =
            xb_condition_holds(&xb_spec.conditions[i], engine.clockwork.uptime,
                               engine.power.mode, engine.clockwork.supply_mv, &xb_all_quantities);
    }
}

/* Put every record of the receiving half to its reset value. */
static void reset_intake(const xb_bridge_spec *spec)
{
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        engine.bus_counts[i] = xb_bus_counts_reset_state;
    }
    for (uint32_t i = 0u; i < spec->clock_count; i++) {
        engine.clocks[i] = xb_clock_reset_state;
    }
    for (uint32_t i = 0u; i < spec->message_count; i++) {
        engine.messages[i] = xb_message_reset_state;
    }
    for (uint32_t i = 0u; i < spec->profile_count; i++) {
        engine.profiles[i] = xb_profile_reset_state;
    }
    for (uint32_t i = 0u; i < spec->unit_count; i++) {
        engine.units[i] = xb_unit_reset_state;
    }
    for (uint32_t i = 0u; i < spec->source_count; i++) {
        engine.sources[i] = xb_source_reset_state;
    }
    for (uint32_t i = 0u; i < spec->quantity_count; i++) {
        engine.quantities[i] = xb_quantity_reset_state;
        engine.quantities[i].value = spec->quantities[i].initial;
    }
    for (uint32_t i = 0u; i < spec->level_count; i++) {
        engine.levels[i] = xb_level_input_reset_state;
    }
}

/* Have the next tick take no shortcut: everything is computed whether it changed or not. */
static void look_at_everything(void)
{
    xb_intake_look_at_everything(&engine);
    xb_sending_look_at_everything(&engine);
}

/* Take up the memory that survived the reset, and judge what it means now. */
static void recall(xb_reset_cause cause, const uint8_t *kept)
{
    uint8_t taken = 0u;

    if (kept != NULL) {
        taken = xb_kept_read(&engine, kept);
    }
    xb_note_start(&engine.start, (uint8_t)cause, kept != NULL, taken);
    if (taken != 0u) {
        xb_control_recall(&engine, cause == XB_RESET_POWER_ON);
    }
}

/* Put every field to its reset value, then take up the memory that survived (rule 1). */
void xb_reset(xb_reset_cause cause, const uint8_t *kept)
{
    const xb_bridge_spec *spec = &xb_spec;

    engine.cause = (uint8_t)cause;
    engine.clockwork = xb_clockwork_reset_state;
    engine.start = xb_start_reset_state;
    engine.power = xb_power_reset_state;
    engine.sleep = xb_sleep_reset_state;
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        engine.buses[i] = xb_bus_reset_state;
        xb_bus_start(&spec->buses[i], &engine.buses[i]);
        engine.arrivals[i].heard = 0u;
        engine.arrivals[i].taken = 0u;
        engine.commands[i] = (uint8_t)XB_COMMAND_NORMAL;
    }
    reset_intake(spec);
    xb_control_reset(&engine);
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->transmit_count; i++) {
        xb_transmit_reset(&spec->transmits[i], &engine.transmits[i]);
    }
    for (uint32_t i = 0u; i < spec->route_count; i++) {
        engine.routes[i] = xb_route_reset_state;
        engine.waiting_counts[i] = 0u;
    }
    for (uint32_t i = 0u; i < spec->condition_count; i++) {
        engine.conditions[i] = xb_condition_reset_state;
    }
    recall(cause, kept);
    look_at_everything();
    commit();
}

/* Take one frame that arrived since the previous tick; accept or reject it (rule 5). */
void xb_receive(const xb_frame *frame)
{
    xb_frame taken = *frame;
    int32_t message;

    if (taken.bus >= XB_BUSES) {
        return;
    }
    if (taken.length > XB_MAX_DATA_LENGTH) {
        taken.length = (uint8_t)XB_MAX_DATA_LENGTH;
    }
    if (xb_spec.watches_buses != 0u
        && xb_bus_watch_take(&engine, &taken) == 0u) {
        return; /* a flood */
    }
    message = xb_intake_receive(&engine, &taken);
    if (message != XB_NONE) {
        xb_sending_route(&engine, (uint32_t)message, &taken);
    }
}

/* Run one tick in the one order of rule 3. */
void xb_tick(const xb_inputs *inputs, xb_outputs *outputs)
{
    xb_clockwork_state *clockwork = &engine.clockwork;

    /* PINS */
    xb_terminals_read(&engine, inputs);

    /* BUSES */
    xb_bus_watch_read(&engine, inputs);

    /* DEADLINES */
    xb_intake_deadlines(&engine);

    /* QUANTITIES */
    xb_intake_quantities(&engine);

    /* FAULTS, POWER MODE, FUNCTIONS */
    if (clockwork->phase == 0u) {
        xb_control_tick(&engine);
    }

    /* ROUTES, TRANSMISSIONS */
    xb_sending_transmit(&engine, outputs);

    /* OUTPUT PINS */
    xb_terminals_drive(&engine, outputs);
    outputs->commands[XB_BODY] = engine.commands[XB_BODY];
    outputs->commands[XB_ENGINE] = engine.commands[XB_ENGINE];
    outputs->power_hold = xb_holds_power(&engine.power);

    /* COMMIT */
    clockwork->first = 0u;
    clockwork->phase = (uint16_t)(clockwork->phase + 1u);
    if (clockwork->phase == xb_spec.control_ticks) {
        clockwork->phase = 0u;
    }
    if (clockwork->uptime < xb_spec.longest_startup) {
        clockwork->uptime += 1u;
    }
    clockwork->supply_mv = inputs->supply_mv;
    commit();
}

/* Write the state image; return its length. */
uint32_t xb_image(uint8_t *buffer)
{
    xb_writer writer = xb_new_writer(buffer, NULL, 0u);

    xb_image_write(&engine, &writer);
    return writer.length;
}

/* Write a part of the state image. */
void xb_image_part(uint8_t *buffer, uint32_t first, uint32_t count)
{
    xb_writer writer = xb_new_writer(buffer, NULL, 0u);

    writer.first = first;
    writer.count = count;
    xb_image_write(&engine, &writer);
}

/* Take up a snapshot, or a part of one. */
void xb_restore(const uint8_t *image, uint32_t first, uint32_t count)
{
    xb_writer writer = xb_new_writer(NULL, image, 0u);

    writer.first = first;
    writer.count = count;
    xb_image_write(&engine, &writer);
    for (uint32_t i = 0u; i < xb_spec.route_count; i++) {
        engine.waiting_counts[i] = 0u;
    }
    look_at_everything();
}

/* Return the CRC-32/ISO-HDLC of the state image (rule 15). */
uint32_t xb_digest(void)
{
    xb_writer writer = xb_new_writer(NULL, NULL, 0u);

    xb_image_write(&engine, &writer);
    return writer.crc ^ UINT32_MAX;
}

/* Write the memory that survives a reset; return its length. */
uint32_t xb_kept(uint8_t *buffer)
{
    return xb_kept_write(&engine, buffer);
}

/* Return whether the last tick was a control tick of a pairing that keeps something: kept fields
 * belong to what runs on control ticks. */
uint8_t xb_kept_moved(void)
{
    return xb_spec.keeps != 0u
           && engine.clockwork.phase == 1u % xb_spec.control_ticks;
}

/* Return the number of the rule set. */
uint32_t xb_rules(void)
{
    return XB_RULES;
}

/* Return the 32 octets of the pairing digest. */
const uint8_t *xb_pairing(void)
{
    return xb_pairing_digest;
}
