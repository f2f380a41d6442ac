/* What a pairing says, and the whole state of one engine.
 *
 * The tables of one pairing are `xb_spec` in the generated xb_tables.c. Their counts size every
 * array below, so all memory is static. */
#ifndef XB_INTERFACE_H
#define XB_INTERFACE_H

#include "buses.h"
#include "conditions.h"
#include "fault_memory.h"
#include "faults.h"
#include "frames.h"
#include "functions/functions.h"
#include "pins.h"
#include "power.h"
#include "quantities.h"
#include "reception.h"
#include "transmission.h"
#include "xb_state.h"
#include "xb_tables.h"

/* Everything a pairing says, resolved to indices. control_ticks = control_ms / tick_ms. */
typedef struct {
    uint32_t tick_ms;
    uint16_t control_ticks;
    uint32_t longest_startup; /* ticks; uptime stops there */
    const xb_message_spec *messages;
    const xb_profile_spec *profiles; /* of received messages, in their order */
    const xb_unit_spec *units;
    const xb_clock_spec *clocks;
    const xb_source_spec *sources;
    const xb_quantity_spec *quantities;
    const xb_delivery_spec *const *deliveries; /* one a quantity, NULL for one that is produced */
    const xb_level_input_spec *levels;
    const xb_analogue_input_spec *analogues;
    const xb_output_pin_spec *outputs;
    const xb_condition_spec *conditions;
    const xb_fault_spec *faults;
    const xb_entry_spec *entries; /* of the fault memory, in the order of their faults */
    const xb_power_spec *power;
    const xb_bus_spec *buses; /* XB_BUSES of them */
    const xb_function_spec *functions;
    const xb_cooling_fan_spec *cooling_fans;
    const xb_fuel_pump_spec *fuel_pumps;
    const xb_gauge_spec *gauges;
    const xb_mapping_spec *mappings;
    const xb_accelerator_pedal_spec *accelerator_pedals;
    const xb_cruise_buttons_spec *cruise_button_sets;
    const xb_mode_selector_spec *mode_selectors;
    const xb_lamp_panel_spec *lamp_panels;
    const xb_engine_speed_gauge_spec *engine_speed_gauges;
    const xb_pulse_output_spec *pulse_outputs;
    const xb_fuel_level_spec *fuel_levels;
    const xb_consumption_counter_spec *consumption_counters;
    const xb_vehicle_speed_spec *vehicle_speeds;
    const xb_cooling_fan_duty_spec *cooling_fan_duties;
    const xb_air_conditioning_spec *air_conditionings;
    const xb_starter_spec *starters;
    const xb_torque_request_spec *torque_requests;
    const xb_engine_running_spec *engine_runnings;
    const xb_transmit_spec *transmits;
    const xb_route_spec *routes;
    const xb_frame_key *own_keys; /* identifiers this module sends (rule 13) */
    uint32_t message_count;
    uint32_t profile_count;
    uint32_t unit_count;
    uint32_t clock_count;
    uint32_t source_count;
    uint32_t quantity_count;
    uint32_t level_count;
    uint32_t analogue_count;
    uint32_t output_count;
    uint32_t condition_count;
    uint32_t fault_count;
    uint32_t entry_count;
    uint32_t snapshot_count;
    uint32_t function_count;
    uint32_t cooling_fan_count;
    uint32_t fan_stage_count;
    uint32_t fuel_pump_count;
    uint32_t gauge_count;
    uint32_t mapping_count;
    uint32_t accelerator_pedal_count;
    uint32_t cruise_buttons_count;
    uint32_t mode_selector_count;
    uint32_t lamp_panel_count;
    uint32_t lamp_count;
    uint32_t engine_speed_gauge_count;
    uint32_t pulse_output_count;
    uint32_t fuel_level_count;
    uint32_t consumption_counter_count;
    uint32_t vehicle_speed_count;
    uint32_t cooling_fan_duty_count;
    uint32_t air_conditioning_count;
    uint32_t starter_count;
    uint32_t torque_request_count;
    uint32_t engine_running_count;
    uint32_t listener_count;
    uint32_t transmit_count;
    uint32_t route_count;
    uint32_t own_key_count;
    uint8_t watches_buses; /* a bus is supervised, or the module sleeps */
    uint8_t keeps; /* memory over resets is used: starts are noted in the state */
} xb_bridge_spec;

/* Words of a set with one bit a quantity. */
#define XB_QUANTITY_WORDS ((XB_QUANTITY_SLOTS + 31u) / 32u)

extern const xb_bridge_spec xb_spec;
extern const xb_quantity_spec xb_quantity_specs[XB_QUANTITY_SLOTS]; /* also xb_spec.quantities */
extern const xb_output_pin_spec xb_output_pin_specs[XB_OUTPUT_SLOTS]; /* also xb_spec.outputs */
extern const uint32_t xb_output_pin_count;
extern const uint8_t xb_pairing_digest[32];

extern const xb_store xb_all_quantities; /* of the one engine */

/* The state of one engine. Everything of type xb_..._state is in the state image; waiting frames
 * are gone at the end of every tick and are not. What follows them only tells what can have
 * changed, so that the rest is not computed again: a matter of speed, never of a result. */
typedef struct xb_engine_ {
    xb_clockwork_state clockwork;
    xb_start_state start;
    xb_power_state power;
    xb_sleep_state sleep;
    xb_bus_state buses[XB_BUSES];
    xb_bus_counts_state bus_counts[XB_BUSES];
    xb_clock_state clocks[XB_CLOCK_SLOTS];
    xb_message_state messages[XB_MESSAGE_SLOTS];
    xb_profile_state profiles[XB_PROFILE_SLOTS];
    xb_unit_state units[XB_UNIT_SLOTS];
    xb_source_state sources[XB_SOURCE_SLOTS];
    xb_quantity_state quantities[XB_QUANTITY_SLOTS];
    xb_level_input_state levels[XB_LEVEL_SLOTS];
    xb_fault_state faults[XB_FAULT_SLOTS];
    xb_operation_state operation;
    xb_entry_state entries[XB_ENTRY_SLOTS];
    xb_snapshot_state snapshots[XB_SNAPSHOT_SLOTS];
    xb_cooling_fan_state cooling_fans[XB_COOLING_FAN_SLOTS];
    xb_fan_stage_state fan_stages[XB_FAN_STAGE_SLOTS];
    xb_fan_demand_state fan_demands[XB_COOLING_FAN_SLOTS];
    xb_fuel_pump_state fuel_pumps[XB_FUEL_PUMP_SLOTS];
    xb_pump_guard_state pump_guards[XB_FUEL_PUMP_SLOTS];
    xb_pump_command_state pump_commands[XB_FUEL_PUMP_SLOTS];
    xb_gauge_state gauges[XB_GAUGE_SLOTS];
    xb_mapping_state mappings[XB_MAPPING_SLOTS];
    xb_accelerator_pedal_state accelerator_pedals[XB_ACCELERATOR_PEDAL_SLOTS];
    xb_cruise_buttons_state cruise_button_sets[XB_CRUISE_BUTTONS_SLOTS];
    xb_mode_selector_state mode_selectors[XB_MODE_SELECTOR_SLOTS];
    xb_lamp_panel_state lamp_panels[XB_LAMP_PANEL_SLOTS];
    xb_lamp_state lamps[XB_LAMP_SLOTS];
    xb_engine_speed_gauge_state engine_speed_gauges[XB_ENGINE_SPEED_GAUGE_SLOTS];
    xb_pulse_output_state pulse_outputs[XB_PULSE_OUTPUT_SLOTS];
    xb_fuel_level_state fuel_levels[XB_FUEL_LEVEL_SLOTS];
    xb_consumption_counter_state consumption_counters[XB_CONSUMPTION_COUNTER_SLOTS];
    xb_vehicle_speed_state vehicle_speeds[XB_VEHICLE_SPEED_SLOTS];
    xb_cooling_fan_duty_state cooling_fan_duties[XB_COOLING_FAN_DUTY_SLOTS];
    xb_fan_demand_state duty_demands[XB_COOLING_FAN_DUTY_SLOTS];
    xb_air_conditioning_state air_conditionings[XB_AIR_CONDITIONING_SLOTS];
    xb_starter_state starters[XB_STARTER_SLOTS];
    xb_torque_request_state torque_requests[XB_TORQUE_REQUEST_SLOTS];
    xb_engine_running_state engine_runnings[XB_ENGINE_RUNNING_SLOTS];
    xb_listener_state listeners[XB_LISTENER_SLOTS];
    xb_transmit_state transmits[XB_TRANSMIT_SLOTS];
    xb_route_state routes[XB_ROUTE_SLOTS];
    xb_condition_state conditions[XB_CONDITION_SLOTS];
    xb_frame waiting[XB_WAITING_SLOTS];
    uint32_t waiting_counts[XB_ROUTE_SLOTS];
    uint32_t changed[XB_QUANTITY_WORDS];    /* sets of xb_all_quantities */
    uint32_t touched[XB_QUANTITY_WORDS];
    uint64_t payloads[XB_TRANSMIT_SLOTS];   /* as packed last */
    uint8_t unpacked[XB_TRANSMIT_SLOTS];    /* a quantity changed since */
    xb_bus_arrivals arrivals[XB_BUSES];
    uint8_t commands[XB_BUSES];
    uint8_t cause;
} xb_engine;

/* Return whether a condition holds; having none always holds. */
static inline uint8_t xb_holds(const xb_engine *engine, int32_t condition)
{
    return condition == XB_NONE || engine->conditions[condition].holds != 0u;
}

#endif
