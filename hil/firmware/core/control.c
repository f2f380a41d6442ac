/* The control tick: faults, then the power mode, then the functions in their order (rule 3). */
#include "control.h"

#include "bus_watch.h"
#include "unrolling.h"

/* Put every fault and function to its reset value. */
void xb_control_reset(xb_engine *engine)
{
    const xb_bridge_spec *spec = &xb_spec;

    for (uint32_t i = 0u; i < spec->fault_count; i++) {
        engine->faults[i] = xb_fault_reset_state;
    }
    engine->operation = xb_operation_reset_state;
    for (uint32_t i = 0u; i < spec->entry_count; i++) {
        engine->entries[i] = xb_entry_reset_state;
    }
    for (uint32_t i = 0u; i < spec->snapshot_count; i++) {
        engine->snapshots[i] = xb_snapshot_reset_state;
    }
    xb_functions_reset(engine);
}

/* Write what a fault is now into its entry of the fault memory. */
static void remember(xb_engine *engine, uint32_t entry, uint8_t matured, uint8_t judged)
{
    const xb_entry_spec *spec = &xb_spec.entries[entry];
    xb_snapshot_state *snapshot = &engine->snapshots[spec->first];

    if (engine->power.new_cycle != 0u) {
        xb_entry_begin_cycle(spec, &engine->entries[entry], snapshot);
    }
    xb_entry_note(spec, &engine->entries[entry], snapshot, matured, judged, engine->operation.ticks,
                  &xb_all_quantities);
}

/* Move every fault by what was seen since the last control tick. */
static void step_faults(xb_engine *engine)
{
    const xb_bridge_spec *spec = &xb_spec;

    xb_pass_time(&engine->operation);
    XB_UNROLLED
    for (uint32_t i = 0u; i < spec->fault_count; i++) {
        const xb_fault_spec *fault = &spec->faults[i];
        uint8_t enabled = xb_holds(engine, fault->condition);
        uint16_t worse;
        uint16_t better;

        if (fault->message != XB_NONE) {
            worse = engine->messages[fault->message].bad;
            better = engine->messages[fault->message].good;
        } else if (fault->bus != XB_NONE) {
            worse = (engine->buses[fault->bus].seen & fault->bus_events) != 0u;
            better = (uint16_t)(1u - worse);
        } else {
            uint8_t status = engine->quantities[fault->quantity].status;

            worse = (uint16_t)((fault->statuses >> status) & 1u);
            better = (uint16_t)(1u - worse);
        }
        xb_fault_step(fault, &engine->faults[i], worse, better, enabled, engine->power.new_cycle);
        if (fault->output != XB_NONE) {
            xb_publish(&xb_all_quantities, fault->output, engine->faults[i].matured, (uint8_t)XB_VALID,
                       1u);
        }
        if (fault->entry != XB_NONE) {
            remember(engine, (uint32_t)fault->entry, engine->faults[i].matured, enabled);
        }
    }
    for (uint32_t i = 0u; i < spec->message_count; i++) {
        engine->messages[i].good = 0u;
        engine->messages[i].bad = 0u;
    }
}

/* Sleep or wake, with the buses: start-up times and listening begin anew after sleep. */
static void sleep_or_wake(xb_engine *engine, uint8_t former)
{
    const xb_bridge_spec *spec = &xb_spec;
    uint8_t was_asleep = former == (uint8_t)XB_ASLEEP;

    if (spec->power->sleep == NULL) {
        return;
    }
    xb_sleep_or_wake(spec->power->sleep, &engine->sleep, &engine->power, was_asleep,
                     xb_bus_watch_heard(engine), &xb_all_quantities);
    if (engine->power.mode == (uint8_t)XB_ASLEEP && was_asleep == 0u) {
        xb_bus_watch_sleep(engine);
    } else if (engine->power.mode != (uint8_t)XB_ASLEEP && was_asleep != 0u) {
        engine->clockwork.uptime = 0u;
        xb_bus_watch_wake(engine);
    } else {
        /* nothing changed */
    }
}

/* Run faults, then the power mode, then the functions in their listed order. */
void xb_control_tick(xb_engine *engine)
{
    const xb_bridge_spec *spec = &xb_spec;
    uint8_t former = engine->power.mode;

    /* FAULTS */
    step_faults(engine);

    /* POWER MODE */
    xb_power_step(spec->power, &engine->power, &xb_all_quantities);
    sleep_or_wake(engine, former);
    xb_bus_watch_forget_seen(engine);
    if (spec->power->mode_quantity != XB_NONE) {
        xb_publish(&xb_all_quantities, spec->power->mode_quantity, engine->power.mode,
                   (uint8_t)XB_VALID, 1u);
    }
    if (spec->power->supply_quantity != XB_NONE) {
        xb_publish_wide(&xb_all_quantities, spec->power->supply_quantity,
                        engine->clockwork.supply_mv, (uint8_t)XB_VALID, 1u);
    }

    /* FUNCTIONS */
    xb_functions_step(engine);
}

/* Judge what the memory that survived a reset means now. */
void xb_control_recall(xb_engine *engine, uint8_t power_on)
{
    xb_power_recall(xb_spec.power, &engine->power, power_on);
    for (uint32_t i = 0u; i < xb_spec.entry_count; i++) {
        uint16_t fault = xb_spec.entries[i].fault;
        const xb_fault_spec *spec = &xb_spec.faults[fault];

        if (xb_entry_recall(&engine->entries[i], spec->latch) != 0u) {
            engine->faults[fault].level = spec->limit;
            engine->faults[fault].matured = 1u;
        }
    }
}
