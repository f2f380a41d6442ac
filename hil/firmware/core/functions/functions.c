/* The vehicle functions by kind: reset, one control tick, and the place in the state image. */
#include "functions.h"

#include "interface.h"

/* Put every function to its reset value. */
void xb_functions_reset(xb_engine *engine)
{
    const xb_bridge_spec *spec = engine->spec;

    for (uint32_t i = 0u; i < spec->cooling_fan_count; i++) {
        engine->cooling_fans[i] = xb_cooling_fan_reset_state;
    }
    for (uint32_t i = 0u; i < spec->fan_stage_count; i++) {
        engine->fan_stages[i] = xb_fan_stage_reset_state;
    }
    for (uint32_t i = 0u; i < spec->fuel_pump_count; i++) {
        engine->fuel_pumps[i] = xb_fuel_pump_reset_state;
    }
    for (uint32_t i = 0u; i < spec->gauge_count; i++) {
        engine->gauges[i] = xb_gauge_reset_state;
    }
    for (uint32_t i = 0u; i < spec->mapping_count; i++) {
        engine->mappings[i] = xb_mapping_reset_state;
    }
}

/* Run one function. */
void xb_functions_step(xb_engine *engine, const xb_function_spec *function)
{
    const xb_bridge_spec *spec = engine->spec;
    const xb_store *store = &engine->store;
    const xb_power_state *power = &engine->power;
    uint16_t place = function->place;

    switch (function->kind) {
    case XB_COOLING_FAN:
        xb_cooling_fan_step(&spec->cooling_fans[place], &engine->cooling_fans[place],
                            &engine->fan_stages[spec->cooling_fans[place].first_stage], store,
                            power);
        break;
    case XB_FUEL_PUMP:
        xb_fuel_pump_step(&spec->fuel_pumps[place], &engine->fuel_pumps[place], store, power);
        break;
    case XB_GAUGE:
        xb_gauge_step(&spec->gauges[place], &engine->gauges[place], store);
        break;
    default:
        xb_mapping_step(&spec->mappings[place], &engine->mappings[place], store);
        break;
    }
}

/* Put out, or take up, the state of one function and the repeated records behind it. */
void xb_functions_image(xb_engine *engine, const xb_function_spec *function,
                        xb_writer *writer)
{
    uint16_t place = function->place;

    switch (function->kind) {
    case XB_COOLING_FAN: {
        const xb_cooling_fan_spec *fan = &engine->spec->cooling_fans[place];

        xb_put_cooling_fan(writer, &engine->cooling_fans[place]);
        for (uint32_t i = 0u; i < fan->stage_count; i++) {
            xb_put_fan_stage(writer, &engine->fan_stages[fan->first_stage + i]);
        }
        break;
    }
    case XB_FUEL_PUMP:
        xb_put_fuel_pump(writer, &engine->fuel_pumps[place]);
        break;
    case XB_GAUGE:
        xb_put_gauge(writer, &engine->gauges[place]);
        break;
    default:
        xb_put_mapping(writer, &engine->mappings[place]);
        break;
    }
}
