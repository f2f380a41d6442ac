/* The one object with life: frames and inputs in, frames and outputs out (rules 1, 2 and 3).
 *
 * One tick runs in one order: pins, buses, deadlines, quantities; on control ticks faults, power
 * mode and functions; routes, transmissions, output pins; then everything conditions look at is committed.
 * What cannot have changed is not computed: a matter of speed only. */
#include "arithmetic.h"
#include "intake.h"
#include "interface.h"
#include "kept_memory.h"
#include "sending.h"
#include "state_image.h"
#include "xlate_bridge.h"

static xb_engine engine;

/* Judge the conditions on this tick's results, for use in the next one. */
static void commit(void)
{
    for (uint32_t i = 0u; i < engine.spec->condition_count; i++) {
        engine.conditions[i].holds =
            xb_condition_holds(&engine.spec->conditions[i], engine.clockwork.uptime,
                               engine.power.mode, engine.clockwork.supply_mv, &engine.store);
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

/* Put every fault and function to its reset value. */
static void reset_control(const xb_bridge_spec *spec)
{
    for (uint32_t i = 0u; i < spec->fault_count; i++) {
        engine.faults[i] = xb_fault_reset_state;
    }
    engine.operation = xb_operation_reset_state;
    for (uint32_t i = 0u; i < spec->entry_count; i++) {
        engine.entries[i] = xb_entry_reset_state;
    }
    for (uint32_t i = 0u; i < spec->snapshot_count; i++) {
        engine.snapshots[i] = xb_snapshot_reset_state;
    }
    xb_functions_reset(&engine);
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
        xb_power_recall(engine.spec->power, &engine.power, cause == XB_RESET_POWER_ON);
        for (uint32_t i = 0u; i < engine.spec->entry_count; i++) {
            uint16_t fault = engine.spec->entries[i].fault;
            const xb_fault_spec *spec = &engine.spec->faults[fault];

            if (xb_entry_recall(&engine.entries[i], spec->latch) != 0u) {
                engine.faults[fault].level = spec->limit;
                engine.faults[fault].matured = 1u;
            }
        }
    }
}

/* Put every field to its reset value, then take up the memory that survived (rule 1). */
void xb_reset(xb_reset_cause cause, const uint8_t *kept)
{
    const xb_bridge_spec *spec = &xb_spec;

    engine.spec = spec;
    engine.store.specs = spec->quantities;
    engine.store.states = engine.quantities;
    engine.store.changed = engine.changed;
    engine.store.touched = engine.touched;
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
    reset_control(spec);
    for (uint32_t i = 0u; i < spec->transmit_count; i++) {
        xb_transmit_reset(&spec->transmits[i], &engine.transmits[i], &engine.store);
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
    if (engine.spec->watches_buses != 0u
        && xb_bus_take(&engine.spec->buses[taken.bus], &engine.buses[taken.bus],
                       &engine.arrivals[taken.bus]) == 0u) {
        return; /* a flood */
    }
    message = xb_intake_receive(&engine, &taken);
    if (message != XB_NONE) {
        xb_sending_route(&engine, (uint32_t)message, &taken);
    }
}

/* Write what a pin says to its source; its quantity is looked at when that is new. */
static void pin_says(int32_t source, int32_t value, uint8_t status)
{
    xb_source_state *state;

    if (source == XB_NONE) {
        return;
    }
    state = &engine.sources[source];
    if (value != state->value || status != state->status) {
        state->value = value;
        state->status = status;
        xb_add_to(engine.touched, engine.spec->sources[source].quantity);
    }
}

/* What an analogue reading means to the quantity that comes from it, by xb_reading. */
static const uint8_t read_as[] = {(uint8_t)XB_VALID, (uint8_t)XB_ERROR, (uint8_t)XB_ERROR,
                                  (uint8_t)XB_IMPLAUSIBLE};

/* Debounce switches and measure analogue inputs into their sources. */
static void read_pins(const xb_inputs *inputs)
{
    const xb_bridge_spec *spec = engine.spec;

    for (uint32_t i = 0u; i < spec->level_count; i++) {
        xb_debounce(&spec->levels[i], &engine.levels[i], inputs->levels[i]);
        pin_says(spec->levels[i].source, engine.levels[i].active, (uint8_t)XB_VALID);
    }
    for (uint32_t i = 0u; i < spec->analogue_count; i++) {
        int32_t source = spec->analogues[i].source;
        int32_t value = source != XB_NONE ? engine.sources[source].value : 0;
        xb_reading reading = xb_measure(&spec->analogues[i], inputs->counts[i], &value);

        /* what is no good reading leaves the value as it was */
        pin_says(source, value, read_as[reading]);
        if (spec->analogues[i].wiring != XB_NONE) {
            xb_publish(&engine.store, spec->analogues[i].wiring, reading,
                       (uint8_t)XB_VALID, 1u);
        }
    }
}

/* Work out the state of each bus from what its controller tells, and its command. */
static void read_buses(const xb_inputs *inputs)
{
    for (uint32_t i = 0u; i < XB_BUSES && engine.spec->watches_buses != 0u; i++) {
        if (engine.power.mode == (uint8_t)XB_ASLEEP) {
            engine.arrivals[i].heard = 0u;
            engine.arrivals[i].taken = 0u;
            engine.commands[i] = (uint8_t)XB_COMMAND_SLEEP;
        } else {
            engine.commands[i] = xb_bus_step(&engine.spec->buses[i], &engine.buses[i],
                                             &engine.arrivals[i], &inputs->buses[i]);
        }
    }
}

/* Sleep or wake, with the buses: start-up times and listening begin anew after sleep. */
static void sleep_or_wake(uint8_t former)
{
    const xb_bridge_spec *spec = engine.spec;
    uint8_t was_asleep = former == (uint8_t)XB_ASLEEP;
    uint8_t heard = 0u;

    if (spec->power->sleep == NULL) {
        return;
    }
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        heard |= (uint8_t)((engine.buses[i].seen & XB_FRAME_SEEN) != 0u ? 1u << i : 0u);
    }
    xb_sleep_or_wake(spec->power->sleep, &engine.sleep, &engine.power, was_asleep, heard,
                     &engine.store);
    if (engine.power.mode == (uint8_t)XB_ASLEEP && was_asleep == 0u) {
        engine.commands[XB_BODY] = (uint8_t)XB_COMMAND_SLEEP;
        engine.commands[XB_ENGINE] = (uint8_t)XB_COMMAND_SLEEP;
    } else if (engine.power.mode != (uint8_t)XB_ASLEEP && was_asleep != 0u) {
        engine.clockwork.uptime = 0u;
        for (uint32_t i = 0u; i < XB_BUSES; i++) {
            xb_bus_start(&spec->buses[i], &engine.buses[i]);
            engine.commands[i] = (uint8_t)(engine.buses[i].mode != (uint8_t)XB_BUS_OPEN
                                               ? XB_COMMAND_LISTEN
                                               : XB_COMMAND_NORMAL);
        }
    } else {
        /* nothing changed */
    }
}

/* Write what a fault is now into its entry of the fault memory. */
static void remember(uint32_t entry, uint8_t matured, uint8_t judged)
{
    const xb_entry_spec *spec = &engine.spec->entries[entry];
    xb_snapshot_state *snapshot = &engine.snapshots[spec->first];

    if (engine.power.new_cycle != 0u) {
        xb_entry_begin_cycle(spec, &engine.entries[entry], snapshot);
    }
    xb_entry_note(spec, &engine.entries[entry], snapshot, matured, judged, engine.operation.ticks,
                  &engine.store);
}

/* Move every fault by what was seen since the last control tick. */
static void step_faults(void)
{
    const xb_bridge_spec *spec = engine.spec;

    xb_pass_time(&engine.operation);
    for (uint32_t i = 0u; i < spec->fault_count; i++) {
        const xb_fault_spec *fault = &spec->faults[i];
        uint8_t enabled = xb_holds(&engine, fault->condition);
        uint16_t worse;
        uint16_t better;

        if (fault->message != XB_NONE) {
            worse = engine.messages[fault->message].bad;
            better = engine.messages[fault->message].good;
        } else if (fault->bus != XB_NONE) {
            worse = (engine.buses[fault->bus].seen & fault->bus_events) != 0u;
            better = (uint16_t)(1u - worse);
        } else {
            uint8_t status = engine.quantities[fault->quantity].status;

            worse = (uint16_t)((fault->statuses >> status) & 1u);
            better = (uint16_t)(1u - worse);
        }
        xb_fault_step(fault, &engine.faults[i], worse, better, enabled, engine.power.new_cycle);
        if (fault->output != XB_NONE) {
            xb_publish(&engine.store, fault->output, engine.faults[i].matured, (uint8_t)XB_VALID,
                       1u);
        }
        if (fault->entry != XB_NONE) {
            remember((uint32_t)fault->entry, engine.faults[i].matured, enabled);
        }
    }
    for (uint32_t i = 0u; i < spec->message_count; i++) {
        engine.messages[i].good = 0u;
        engine.messages[i].bad = 0u;
    }
}

/* Run faults, then the power mode, then the functions in their listed order. */
static void control_tick(void)
{
    const xb_bridge_spec *spec = engine.spec;
    uint8_t former = engine.power.mode;

    step_faults();
    xb_power_step(spec->power, &engine.power, &engine.store);
    sleep_or_wake(former);
    engine.buses[XB_BODY].seen = 0u;
    engine.buses[XB_ENGINE].seen = 0u;
    if (spec->power->mode_quantity != XB_NONE) {
        xb_publish(&engine.store, spec->power->mode_quantity, engine.power.mode,
                   (uint8_t)XB_VALID, 1u);
    }
    if (spec->power->supply_quantity != XB_NONE) {
        xb_publish(&engine.store, spec->power->supply_quantity, engine.clockwork.supply_mv,
                   (uint8_t)XB_VALID, 1u);
    }
    for (uint32_t i = 0u; i < spec->function_count; i++) {
        xb_functions_step(&engine, &spec->functions[i]);
    }
}

/* Work out what the output pins carry. */
static void drive_pins(xb_outputs *outputs)
{
    const xb_bridge_spec *spec = engine.spec;

    for (uint32_t i = 0u; i < spec->output_count; i++) {
        const xb_output_pin_spec *pin = &spec->outputs[i];
        uint32_t driven = xb_drive(pin, engine.quantities[pin->quantity].value);

        if (pin->kind == (uint8_t)XB_PIN_LEVEL) {
            outputs->levels[pin->place] = (uint8_t)driven;
        } else if (pin->kind == (uint8_t)XB_PIN_DUTY) {
            outputs->duty[pin->place] = (uint16_t)driven;
        } else {
            outputs->frequency[pin->place] = driven;
        }
    }
}

/* Run one tick in the one order of rule 3. */
void xb_tick(const xb_inputs *inputs, xb_outputs *outputs)
{
    xb_clockwork_state *clockwork = &engine.clockwork;

    /* PINS */
    read_pins(inputs);

    /* BUSES */
    read_buses(inputs);

    /* DEADLINES */
    xb_intake_deadlines(&engine);

    /* QUANTITIES */
    xb_intake_quantities(&engine);

    /* FAULTS, POWER MODE, FUNCTIONS */
    if (clockwork->phase == 0u) {
        control_tick();
    }

    /* ROUTES, TRANSMISSIONS */
    xb_sending_transmit(&engine, outputs);

    /* OUTPUT PINS */
    drive_pins(outputs);
    outputs->commands[XB_BODY] = engine.commands[XB_BODY];
    outputs->commands[XB_ENGINE] = engine.commands[XB_ENGINE];
    outputs->power_hold = xb_holds_power(&engine.power);

    /* COMMIT */
    clockwork->first = 0u;
    clockwork->phase = (uint16_t)(clockwork->phase + 1u);
    if (clockwork->phase == engine.spec->control_ticks) {
        clockwork->phase = 0u;
    }
    if (clockwork->uptime < engine.spec->longest_startup) {
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
    for (uint32_t i = 0u; i < engine.spec->route_count; i++) {
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
