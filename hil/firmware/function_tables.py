"""Every kind of vehicle function of the firmware: its C name, state records and table entries.

One line a kind, in the order of `xb_function_kind`. From it come the arrays of the tables, their
counts, the state records and what runs each kind (`function_steps.py`); C names the kind itself in
functions.h and interface.h only. What a pairing does not use stays out of its firmware.
"""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from hil.firmware import control_functions as controls
from hil.firmware import drive_functions as drive
from hil.firmware import instrument_functions as instruments
from hil.firmware import plain_functions as plain
from hil.firmware.notation import Arrays, NotationError
from xlate_core.functions import FunctionSpec
from xlate_core.functions.accelerator_pedal import AcceleratorPedalSpec, AcceleratorPedalState
from xlate_core.functions.air_conditioning import AirConditioningSpec, AirConditioningState
from xlate_core.functions.consumption_counter import ConsumptionCounterSpec, ConsumptionCounterState
from xlate_core.functions.cooling_fan import CoolingFanSpec, CoolingFanState, StageState
from xlate_core.functions.cooling_fan_duty import CoolingFanDutySpec, CoolingFanDutyState
from xlate_core.functions.cruise_buttons import CruiseButtonsSpec, CruiseButtonsState
from xlate_core.functions.engine_running import (
    EngineRunningSpec,
    EngineRunningState,
    ListenerState,
)
from xlate_core.functions.engine_speed_gauge import EngineSpeedGaugeSpec, EngineSpeedGaugeState
from xlate_core.functions.fan_demand import FanDemandState
from xlate_core.functions.fuel_level import FuelLevelSpec, FuelLevelState
from xlate_core.functions.fuel_pump import FuelPumpSpec, FuelPumpState, PumpGuardState
from xlate_core.functions.gauge import GaugeSpec, GaugeState
from xlate_core.functions.lamps import LampPanelSpec, LampPanelState, LampState
from xlate_core.functions.mapping import MappingSpec, MappingState
from xlate_core.functions.mode_selector import ModeSelectorSpec, ModeSelectorState
from xlate_core.functions.pulse_output import PulseOutputSpec, PulseOutputState
from xlate_core.functions.pump_command import PumpCommandState
from xlate_core.functions.starter import StarterSpec, StarterState
from xlate_core.functions.torque_request import TorqueRequestSpec, TorqueRequestState
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec, VehicleSpeedState


class Parts(NamedTuple):
    """Repeated records behind a function's own state: C name, state class, how many."""

    name: str
    state: Any
    count: Callable[[Any], int]


class Further(NamedTuple):
    """One more record beside a function's own state.

    `array` is its place in `xb_engine`; the state image has it where the member `asked_by` of the
    spec is no null pointer, always when that is empty.
    """

    record: str
    array: str
    asked_by: str = ""


class FunctionKind(NamedTuple):
    """One kind: `name` in C, `entry(spec, arrays, first part)`; the array is called `plural`.

    Its step takes spec, state, parts, `further` records, the quantities, and with `sees_power` the
    power state. `files` are the C files that only it and other kinds naming them need.
    """

    spec: type
    state: Any
    name: str
    entry: Callable[[Any, Arrays, int], str]
    parts: Parts | None = None
    plural: str = ""
    further: tuple[Further, ...] = ()
    sees_power: bool = True
    files: tuple[str, ...] = ()

    @property
    def array(self) -> str:
        """Name of the array of specs and of states."""
        return self.plural or f"{self.name}s"

    @property
    def c_files(self) -> tuple[str, ...]:
        """Names of the C files the kind is made of."""
        return self.files or (f"{self.name}.c",)


KINDS: tuple[FunctionKind, ...] = (
    FunctionKind(
        CoolingFanSpec,
        CoolingFanState,
        "cooling_fan",
        drive.cooling_fan,
        Parts("fan_stage", StageState, lambda spec: len(spec.stages)),
        further=(Further("fan_demand", "fan_demands", "demand"),),
        files=("cooling_fan.c", "fan_demand.c"),
    ),
    FunctionKind(
        FuelPumpSpec,
        FuelPumpState,
        "fuel_pump",
        drive.fuel_pump,
        further=(
            Further("pump_guard", "pump_guards", "guard"),
            Further("pump_command", "pump_commands", "command"),
        ),
        files=("fuel_pump.c", "pump_command.c"),
    ),
    FunctionKind(GaugeSpec, GaugeState, "gauge", plain.gauge, sees_power=False),
    FunctionKind(MappingSpec, MappingState, "mapping", plain.mapping, sees_power=False),
    FunctionKind(
        AcceleratorPedalSpec,
        AcceleratorPedalState,
        "accelerator_pedal",
        controls.accelerator_pedal,
    ),
    FunctionKind(
        CruiseButtonsSpec,
        CruiseButtonsState,
        "cruise_buttons",
        controls.cruise_buttons,
        plural="cruise_button_sets",
    ),
    FunctionKind(ModeSelectorSpec, ModeSelectorState, "mode_selector", controls.mode_selector),
    FunctionKind(
        LampPanelSpec,
        LampPanelState,
        "lamp_panel",
        instruments.lamp_panel,
        Parts("lamp", LampState, lambda spec: len(spec.lamps)),
        files=("lamps.c",),
    ),
    FunctionKind(
        EngineSpeedGaugeSpec,
        EngineSpeedGaugeState,
        "engine_speed_gauge",
        instruments.engine_speed_gauge,
        sees_power=False,
    ),
    FunctionKind(
        PulseOutputSpec,
        PulseOutputState,
        "pulse_output",
        instruments.pulse_output,
        sees_power=False,
    ),
    FunctionKind(FuelLevelSpec, FuelLevelState, "fuel_level", instruments.fuel_level),
    FunctionKind(
        ConsumptionCounterSpec,
        ConsumptionCounterState,
        "consumption_counter",
        instruments.consumption_counter,
        sees_power=False,
    ),
    FunctionKind(
        VehicleSpeedSpec,
        VehicleSpeedState,
        "vehicle_speed",
        instruments.vehicle_speed,
        sees_power=False,
    ),
    FunctionKind(
        CoolingFanDutySpec,
        CoolingFanDutyState,
        "cooling_fan_duty",
        drive.cooling_fan_duty,
        plural="cooling_fan_duties",
        further=(Further("fan_demand", "duty_demands"),),
        files=("cooling_fan_duty.c", "fan_demand.c"),
    ),
    FunctionKind(
        AirConditioningSpec, AirConditioningState, "air_conditioning", drive.air_conditioning
    ),
    FunctionKind(StarterSpec, StarterState, "starter", drive.starter),
    FunctionKind(TorqueRequestSpec, TorqueRequestState, "torque_request", drive.torque_request),
    FunctionKind(
        EngineRunningSpec,
        EngineRunningState,
        "engine_running",
        drive.engine_running,
        Parts("listener", ListenerState, lambda spec: len(spec.listeners)),
    ),
)

OPTIONAL_PARTS: dict[str, Any] = {
    "fan_demand": FanDemandState,
    "pump_guard": PumpGuardState,
    "pump_command": PumpCommandState,
}
"""Records behind a function's state where the pairing has them; C keeps a place in any case."""


def kind_of(spec: FunctionSpec) -> int:
    """Return the number of a function's kind in C; raises NotationError for one C has not."""
    for number, kind in enumerate(KINDS):
        if type(spec) is kind.spec:
            return number
    raise NotationError(f"{spec.name}: the firmware has no function {type(spec).__name__}")


def used(functions: Sequence[FunctionSpec]) -> tuple[FunctionKind, ...]:
    """Return the kinds a pairing has functions of, in the order of their numbers."""
    return tuple(kind for kind in KINDS if any(type(spec) is kind.spec for spec in functions))


def unused_files(functions: Sequence[FunctionSpec]) -> frozenset[str]:
    """Return the names of the C files that only kinds need which a pairing does not use."""
    every = {file for kind in KINDS for file in kind.c_files}
    return frozenset(every.difference(*(kind.c_files for kind in used(functions))))


def tables(functions: Sequence[FunctionSpec], arrays: Arrays) -> dict[str, tuple[str, list[str]]]:
    """Return member of xb_bridge_spec -> type and entries, for every kind."""
    result = {}
    for kind in KINDS:
        entries, first = [], 0
        for spec in functions:
            if type(spec) is kind.spec:
                entries.append(kind.entry(spec, arrays, first))
                first += kind.parts.count(spec) if kind.parts is not None else 0
        result[kind.array] = (f"xb_{kind.name}_spec", entries)
    return result


def counts(functions: Sequence[FunctionSpec]) -> dict[str, int]:
    """Return how many there are of every kind and of its parts, by C name."""
    result = {}
    for kind in KINDS:
        ours = [spec for spec in functions if type(spec) is kind.spec]
        result[kind.name] = len(ours)
        if kind.parts is not None:
            result[kind.parts.name] = sum(map(kind.parts.count, ours))
    return result


def records() -> dict[str, Any]:
    """Return the state class of every record, by C name."""
    result: dict[str, Any] = {}
    for kind in KINDS:
        result[kind.name] = kind.state
        if kind.parts is not None:
            result[kind.parts.name] = kind.parts.state
    return result | OPTIONAL_PARTS
