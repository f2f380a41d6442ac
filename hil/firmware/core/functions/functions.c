/* The vehicle functions by kind: reset, one control tick, and the place in the state image. */
#include "functions.h"

#include <stddef.h>

#include "interface.h"

/* Put every function to its reset value. */
void xb_functions_reset(xb_engine *engine)
{
    const xb_bridge_spec *spec = engine->spec;

    for (uint32_t i = 0u; i < spec->cooling_fan_count; i++) {
        engine->cooling_fans[i] = xb_cooling_fan_reset_state;
        engine->fan_demands[i] = xb_fan_demand_reset_state;
    }
    for (uint32_t i = 0u; i < spec->fan_stage_count; i++) {
        engine->fan_stages[i] = xb_fan_stage_reset_state;
    }
    for (uint32_t i = 0u; i < spec->fuel_pump_count; i++) {
        engine->fuel_pumps[i] = xb_fuel_pump_reset_state;
        engine->pump_guards[i] = xb_pump_guard_reset_state;
        engine->pump_commands[i] = xb_pump_command_reset_state;
    }
    for (uint32_t i = 0u; i < spec->gauge_count; i++) {
        engine->gauges[i] = xb_gauge_reset_state;
    }
    for (uint32_t i = 0u; i < spec->mapping_count; i++) {
        engine->mappings[i] = xb_mapping_reset_state;
    }
    for (uint32_t i = 0u; i < spec->accelerator_pedal_count; i++) {
        engine->accelerator_pedals[i] = xb_accelerator_pedal_reset_state;
    }
    for (uint32_t i = 0u; i < spec->cruise_buttons_count; i++) {
        engine->cruise_button_sets[i] = xb_cruise_buttons_reset_state;
    }
    for (uint32_t i = 0u; i < spec->mode_selector_count; i++) {
        engine->mode_selectors[i] = xb_mode_selector_reset_state;
    }
    for (uint32_t i = 0u; i < spec->lamp_panel_count; i++) {
        engine->lamp_panels[i] = xb_lamp_panel_reset_state;
    }
    for (uint32_t i = 0u; i < spec->lamp_count; i++) {
        engine->lamps[i] = xb_lamp_reset_state;
    }
    for (uint32_t i = 0u; i < spec->engine_speed_gauge_count; i++) {
        engine->engine_speed_gauges[i] = xb_engine_speed_gauge_reset_state;
    }
    for (uint32_t i = 0u; i < spec->pulse_output_count; i++) {
        engine->pulse_outputs[i] = xb_pulse_output_reset_state;
    }
    for (uint32_t i = 0u; i < spec->fuel_level_count; i++) {
        engine->fuel_levels[i] = xb_fuel_level_reset_state;
    }
    for (uint32_t i = 0u; i < spec->consumption_counter_count; i++) {
        engine->consumption_counters[i] = xb_consumption_counter_reset_state;
    }
    for (uint32_t i = 0u; i < spec->vehicle_speed_count; i++) {
        engine->vehicle_speeds[i] = xb_vehicle_speed_reset_state;
    }
    for (uint32_t i = 0u; i < spec->cooling_fan_duty_count; i++) {
        engine->cooling_fan_duties[i] = xb_cooling_fan_duty_reset_state;
        engine->duty_demands[i] = xb_fan_demand_reset_state;
    }
    for (uint32_t i = 0u; i < spec->air_conditioning_count; i++) {
        engine->air_conditionings[i] = xb_air_conditioning_reset_state;
    }
    for (uint32_t i = 0u; i < spec->starter_count; i++) {
        engine->starters[i] = xb_starter_reset_state;
    }
    for (uint32_t i = 0u; i < spec->torque_request_count; i++) {
        engine->torque_requests[i] = xb_torque_request_reset_state;
    }
    for (uint32_t i = 0u; i < spec->engine_running_count; i++) {
        engine->engine_runnings[i] = xb_engine_running_reset_state;
    }
    for (uint32_t i = 0u; i < spec->listener_count; i++) {
        engine->listeners[i] = xb_listener_reset_state;
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
                            &engine->fan_stages[spec->cooling_fans[place].first_stage],
                            &engine->fan_demands[place], store, power);
        break;
    case XB_FUEL_PUMP:
        xb_fuel_pump_step(&spec->fuel_pumps[place], &engine->fuel_pumps[place],
                          &engine->pump_guards[place], &engine->pump_commands[place], store,
                          power);
        break;
    case XB_GAUGE:
        xb_gauge_step(&spec->gauges[place], &engine->gauges[place], store);
        break;
    case XB_LAMP_PANEL:
        xb_lamp_panel_step(&spec->lamp_panels[place], &engine->lamp_panels[place],
                           &engine->lamps[spec->lamp_panels[place].first_lamp], store, power);
        break;
    case XB_ENGINE_SPEED_GAUGE:
        xb_engine_speed_gauge_step(&spec->engine_speed_gauges[place], &engine->engine_speed_gauges[place],
                                   store);
        break;
    case XB_PULSE_OUTPUT:
        xb_pulse_output_step(&spec->pulse_outputs[place], &engine->pulse_outputs[place], store);
        break;
    case XB_FUEL_LEVEL:
        xb_fuel_level_step(&spec->fuel_levels[place], &engine->fuel_levels[place], store, power);
        break;
    case XB_CONSUMPTION_COUNTER:
        xb_consumption_counter_step(&spec->consumption_counters[place], &engine->consumption_counters[place],
                                    store);
        break;
    case XB_VEHICLE_SPEED:
        xb_vehicle_speed_step(&spec->vehicle_speeds[place], &engine->vehicle_speeds[place], store);
        break;
    case XB_ACCELERATOR_PEDAL:
        xb_accelerator_pedal_step(&spec->accelerator_pedals[place],
                                  &engine->accelerator_pedals[place], store, power);
        break;
    case XB_CRUISE_BUTTONS:
        xb_cruise_buttons_step(&spec->cruise_button_sets[place],
                               &engine->cruise_button_sets[place], store, power);
        break;
    case XB_MODE_SELECTOR:
        xb_mode_selector_step(&spec->mode_selectors[place], &engine->mode_selectors[place], store,
                              power);
        break;
    case XB_COOLING_FAN_DUTY:
        xb_cooling_fan_duty_step(&spec->cooling_fan_duties[place],
                                 &engine->cooling_fan_duties[place],
                                 &engine->duty_demands[place], store, power);
        break;
    case XB_AIR_CONDITIONING:
        xb_air_conditioning_step(&spec->air_conditionings[place],
                                 &engine->air_conditionings[place], store, power);
        break;
    case XB_STARTER:
        xb_starter_step(&spec->starters[place], &engine->starters[place], store, power);
        break;
    case XB_TORQUE_REQUEST:
        xb_torque_request_step(&spec->torque_requests[place], &engine->torque_requests[place],
                               store, power);
        break;
    case XB_ENGINE_RUNNING:
        xb_engine_running_step(&spec->engine_runnings[place], &engine->engine_runnings[place],
                               &engine->listeners[spec->engine_runnings[place].first_listener],
                               store, power);
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
        if (fan->demand != NULL) {
            xb_put_fan_demand(writer, &engine->fan_demands[place]);
        }
        break;
    }
    case XB_FUEL_PUMP:
        xb_put_fuel_pump(writer, &engine->fuel_pumps[place]);
        if (engine->spec->fuel_pumps[place].guard != NULL) {
            xb_put_pump_guard(writer, &engine->pump_guards[place]);
        }
        if (engine->spec->fuel_pumps[place].command != NULL) {
            xb_put_pump_command(writer, &engine->pump_commands[place]);
        }
        break;
    case XB_GAUGE:
        xb_put_gauge(writer, &engine->gauges[place]);
        break;
    case XB_LAMP_PANEL: {
        const xb_lamp_panel_spec *panel = &engine->spec->lamp_panels[place];

        xb_put_lamp_panel(writer, &engine->lamp_panels[place]);
        for (uint32_t i = 0u; i < panel->lamp_count; i++) {
            xb_put_lamp(writer, &engine->lamps[panel->first_lamp + i]);
        }
        break;
    }
    case XB_ENGINE_SPEED_GAUGE:
        xb_put_engine_speed_gauge(writer, &engine->engine_speed_gauges[place]);
        break;
    case XB_PULSE_OUTPUT:
        xb_put_pulse_output(writer, &engine->pulse_outputs[place]);
        break;
    case XB_FUEL_LEVEL:
        xb_put_fuel_level(writer, &engine->fuel_levels[place]);
        break;
    case XB_CONSUMPTION_COUNTER:
        xb_put_consumption_counter(writer, &engine->consumption_counters[place]);
        break;
    case XB_VEHICLE_SPEED:
        xb_put_vehicle_speed(writer, &engine->vehicle_speeds[place]);
        break;
    case XB_ACCELERATOR_PEDAL:
        xb_put_accelerator_pedal(writer, &engine->accelerator_pedals[place]);
        break;
    case XB_CRUISE_BUTTONS:
        xb_put_cruise_buttons(writer, &engine->cruise_button_sets[place]);
        break;
    case XB_MODE_SELECTOR:
        xb_put_mode_selector(writer, &engine->mode_selectors[place]);
        break;
    case XB_COOLING_FAN_DUTY:
        xb_put_cooling_fan_duty(writer, &engine->cooling_fan_duties[place]);
        xb_put_fan_demand(writer, &engine->duty_demands[place]);
        break;
    case XB_AIR_CONDITIONING:
        xb_put_air_conditioning(writer, &engine->air_conditionings[place]);
        break;
    case XB_STARTER:
        xb_put_starter(writer, &engine->starters[place]);
        break;
    case XB_TORQUE_REQUEST:
        xb_put_torque_request(writer, &engine->torque_requests[place]);
        break;
    case XB_ENGINE_RUNNING: {
        const xb_engine_running_spec *told = &engine->spec->engine_runnings[place];

        xb_put_engine_running(writer, &engine->engine_runnings[place]);
        for (uint32_t i = 0u; i < told->listener_count; i++) {
            xb_put_listener(writer, &engine->listeners[told->first_listener + i]);
        }
        break;
    }
    default:
        xb_put_mapping(writer, &engine->mappings[place]);
        break;
    }
}
