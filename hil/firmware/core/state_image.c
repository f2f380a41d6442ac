/* The state image: every declared field in order and width, little-endian (rule 15). */
#include "state_image.h"

/* Put every state record out, or take it up, in image order. */
void xb_image_write(xb_engine *engine, xb_writer *writer)
{
    const xb_bridge_spec *spec = &xb_spec;

    xb_put_clockwork(writer, &engine->clockwork);
    if (spec->keeps != 0u) {
        xb_put_start(writer, &engine->start);
    }
    for (uint32_t i = 0u; i < XB_BUSES; i++) {
        xb_put_bus_counts(writer, &engine->bus_counts[i]);
    }
    for (uint32_t i = 0u; i < XB_BUSES && spec->watches_buses != 0u; i++) {
        xb_put_bus(writer, &engine->buses[i]);
    }
    for (uint32_t i = 0u; i < spec->clock_count; i++) {
        xb_put_clock(writer, &engine->clocks[i]);
    }
    xb_put_power(writer, &engine->power);
    if (spec->power->sleep != NULL) {
        xb_put_sleep(writer, &engine->sleep);
    }
    if (spec->entry_count != 0u) {
        xb_put_operation(writer, &engine->operation);
    }
    for (uint32_t i = 0u; i < spec->entry_count; i++) {
        const xb_entry_spec *entry = &spec->entries[i];

        xb_put_entry(writer, &engine->entries[i]);
        for (uint32_t k = 0u; k < entry->snapshot_count; k++) {
            xb_put_snapshot(writer, &engine->snapshots[entry->first + k]);
        }
    }
    for (uint32_t i = 0u; i < spec->message_count; i++) {
        xb_put_message(writer, &engine->messages[i]);
    }
    for (uint32_t i = 0u; i < spec->profile_count; i++) {
        xb_put_profile(writer, &engine->profiles[i]);
    }
    for (uint32_t i = 0u; i < spec->unit_count; i++) {
        xb_put_unit(writer, &engine->units[i]);
    }
    for (uint32_t i = 0u; i < spec->source_count; i++) {
        xb_put_source(writer, &engine->sources[i]);
    }
    for (uint32_t i = 0u; i < spec->quantity_count; i++) {
        xb_put_quantity(writer, &engine->quantities[i]);
    }
    for (uint32_t i = 0u; i < spec->level_count; i++) {
        xb_put_level_input(writer, &engine->levels[i]);
    }
    for (uint32_t i = 0u; i < spec->fault_count; i++) {
        xb_put_fault(writer, &engine->faults[i]);
    }
    for (uint32_t i = 0u; i < spec->function_count; i++) {
        xb_functions_image(engine, &spec->functions[i], writer);
    }
    for (uint32_t i = 0u; i < spec->transmit_count; i++) {
        xb_put_transmit(writer, &engine->transmits[i]);
    }
    for (uint32_t i = 0u; i < spec->route_count; i++) {
        xb_put_route(writer, &engine->routes[i]);
    }
    for (uint32_t i = 0u; i < spec->condition_count; i++) {
        xb_put_condition(writer, &engine->conditions[i]);
    }
}
