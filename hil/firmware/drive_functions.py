"""Table entries of fans, pump, air conditioning, starter and torque, one builder a kind."""

from collections.abc import Callable
from typing import Any

from hil.firmware.notation import NULL, Arrays, curve, i32, i64, struct, u8, u16, u32
from xlate_core.functions.air_conditioning import AirConditioningSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec, FanRequestSpec
from xlate_core.functions.cooling_fan_duty import CoolingFanDutySpec
from xlate_core.functions.engine_running import EngineRunningSpec
from xlate_core.functions.fan_demand import FanDemandSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.pump_command import PumpCommandSpec
from xlate_core.functions.starter import StarterSpec
from xlate_core.functions.torque_request import TorqueRequestSpec

Notation = Callable[[int, str], str]


def members(spec: Any, what: str, notations: dict[str, Notation]) -> dict[str, str]:
    """Return member -> constant for members that have the name of a field."""
    return {name: write(getattr(spec, name), what) for name, write in notations.items()}


def _each(names: str, notation: Notation) -> dict[str, Notation]:
    return dict.fromkeys(names.split(), notation)


def cooling_fan(spec: CoolingFanSpec, arrays: Arrays, first_stage: int) -> str:
    """Return a cooling fan in stages."""
    name = spec.name
    stages = [
        struct({"on": i32(s.on, name), "off": i32(s.off, name), "output": u16(s.output, name)})
        for s in spec.stages
    ]
    demand = NULL if spec.demand is None else _demand(spec.demand, name, arrays)
    return struct(
        {
            "stages": arrays.add("xb_fan_stage_spec", "stages", stages),
            "requests": _requests(spec.requests, name, arrays),
            "demand": demand,
            "stage_count": u32(len(stages), name),
            "request_count": u32(len(spec.requests), name),
            "first_stage": u32(first_stage, name),
            **members(spec, name, _each("min_on min_off on_loss_stage", u32)),
            "coolant": u16(spec.coolant, name),
        }
    )


def _requests(requests: tuple[FanRequestSpec, ...], name: str, arrays: Arrays) -> str:
    entries = [
        struct({"stage": u32(one.stage, name), "quantity": u16(one.quantity, name)})
        for one in requests
    ]
    return arrays.add("xb_fan_request_spec", "requests", entries)


def _demand(spec: FanDemandSpec, name: str, arrays: Arrays) -> str:
    pressures = [
        struct(
            members(one, name, _each("on off level", i32)) | {"quantity": u16(one.quantity, name)}
        )
        for one in spec.pressures
    ]
    signed = (
        "compressor compressor_level road_speed drop_above restore_below inhibit_supply "
        "inhibit_above inhibit_below after_run_level after_run_above after_run_below "
        "after_run_supply after_run_least_mv"
    )
    entry = struct(
        {
            "pressures": arrays.add("xb_fan_pressure_spec", "pressures", pressures),
            "pressure_count": u32(len(pressures), name),
            **members(spec, name, _each(signed, i32)),
            **members(spec, name, _each("after_run stage_delay", u32)),
            "inhibit_on_loss": u8(spec.inhibit_on_loss, name),
        }
    )
    return arrays.one("xb_fan_demand_spec", "demand", entry)


def cooling_fan_duty(spec: CoolingFanDutySpec, arrays: Arrays, first_part: int) -> str:
    """Return a cooling fan by duty."""
    del first_part
    name = spec.name
    unsigned = "soft_start rise fall min_on min_off control_ms"
    return struct(
        {
            "demand": _demand(spec.demand, name, arrays),
            "requests": _requests(spec.requests, name, arrays),
            "curve": curve(arrays, spec.points, name),
            "request_count": u32(len(spec.requests), name),
            **members(spec, name, _each("follow minimum full on_loss", i32)),
            **members(spec, name, _each(unsigned, u32)),
            **members(spec, name, _each("coolant output", u16)),
            "inverted": u8(spec.inverted, name),
        }
    )


def fuel_pump(spec: FuelPumpSpec, arrays: Arrays, first_part: int) -> str:
    """Return a fuel pump."""
    del first_part
    name = spec.name
    guard = NULL
    if spec.guard is not None:
        entry = struct(
            {
                **members(spec.guard, name, _each("crash loss_enable", i32)),
                "loss_run": u32(spec.guard.loss_run, name),
                "runs_cranking": u8(spec.guard.runs_cranking, name),
            }
        )
        guard = arrays.one("xb_pump_guard_spec", "guard", entry)
    return struct(
        {
            "guard": guard,
            "command": NULL if spec.command is None else _command(spec.command, name, arrays),
            "rotation_above": i32(spec.rotation_above, name),
            **members(spec, name, _each("prime off_delay", u32)),
            **members(spec, name, _each("output engine_speed", u16)),
        }
    )


def _command(spec: PumpCommandSpec, name: str, arrays: Arrays) -> str:
    levels = [
        struct(members(one, name, _each("above leave_below command", i32))) for one in spec.levels
    ]
    signed = "off prime base answer answer_low answer_high answer_output"
    entry = struct(
        {
            "levels": arrays.add("xb_pump_level_spec", "levels", levels),
            "level_count": u32(len(levels), name),
            **members(spec, name, _each(signed, i32)),
            "answer_time": u32(spec.answer_time, name),
            **members(spec, name, _each("output demand", u16)),
        }
    )
    return arrays.one("xb_pump_command_spec", "command", entry)


def air_conditioning(spec: AirConditioningSpec, arrays: Arrays, first_part: int) -> str:
    """Return an air conditioning."""
    del first_part
    name = spec.name
    ends = "engage_low engage_high release_low release_high"
    windows = [
        struct(
            {
                **members(one, name, _each(ends, i32)),
                "quantity": u16(one.quantity, name),
                "refusal": u8(one.refusal, name),
            }
        )
        for one in spec.windows
    ]
    return struct(
        {
            "windows": arrays.add("xb_permission_window_spec", "windows", windows),
            "window_count": u32(len(windows), name),
            **members(spec, name, _each("refusal permit pedal pedal_full pedal_below", i32)),
            **members(spec, name, _each("pedal_cut running_for engage_delay min_off", u32)),
            **members(spec, name, _each("request idle_up clutch", u16)),
        }
    )


def starter(spec: StarterSpec, arrays: Arrays, first_part: int) -> str:
    """Return a starter."""
    del first_part
    name = spec.name
    return struct(
        {
            "all_of": arrays.indices(spec.all_of),
            "any_of": arrays.indices(spec.any_of),
            "all_count": u32(len(spec.all_of), name),
            "any_count": u32(len(spec.any_of), name),
            **members(spec, name, _each("outcome turning_above release_above", i32)),
            **members(spec, name, _each("max_crank rest limit_rest", u32)),
            **members(spec, name, _each("button engine_speed output", u16)),
            "while_pressed": u8(spec.while_pressed, name),
        }
    )


def torque_request(spec: TorqueRequestSpec, arrays: Arrays, first_part: int) -> str:
    """Return a torque request."""
    del arrays, first_part
    indices = "request active carried carried_active answer actual"
    return struct(
        {
            **members(spec, spec.name, _each("no_request maximum friction", i32)),
            "tolerance": i64(spec.tolerance, spec.name),
            "settle": u32(spec.settle, spec.name),
            **members(spec, spec.name, _each(indices, u16)),
            "increase": u8(spec.increase, spec.name),
        }
    )


def engine_running(spec: EngineRunningSpec, arrays: Arrays, first_listener: int) -> str:
    """Return who is told that the engine runs."""
    name = spec.name
    listeners = [
        struct(
            {
                **members(one, name, _each("on_delay off_delay", u32)),
                "output": u16(one.output, name),
                "on_loss": u8(one.on_loss, name),
            }
        )
        for one in spec.listeners
    ]
    return struct(
        {
            "listeners": arrays.add("xb_listener_spec", "listeners", listeners),
            "listener_count": u32(len(listeners), name),
            "first_listener": u32(first_listener, name),
            **members(spec, name, _each("running_above running_below", i32)),
            "engine_speed": u16(spec.engine_speed, name),
        }
    )
