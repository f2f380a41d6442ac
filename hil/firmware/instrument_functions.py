"""Table entries of lamps, gauges, counters and the vehicle speed, one builder a kind."""

from hil.firmware.notation import Arrays, i32, i64, struct, u8, u16, u32, u64
from xlate_core.functions.consumption_counter import ConsumptionCounterSpec
from xlate_core.functions.engine_speed_gauge import EngineSpeedGaugeSpec
from xlate_core.functions.fuel_level import FuelLevelSpec
from xlate_core.functions.lamps import LampPanelSpec, LampSpec
from xlate_core.functions.pulse_output import PulseOutputSpec
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec


def lamp_panel(spec: LampPanelSpec, arrays: Arrays, first_lamp: int) -> str:
    """Return a lamp panel."""
    lamps = [_lamp(spec.name, one, arrays) for one in spec.lamps]
    return struct(
        {
            "lamps": arrays.add("xb_lamp_spec", "lamps", lamps),
            "lamp_count": u32(len(lamps), spec.name),
            "first_lamp": u32(first_lamp, spec.name),
            "bulb_check": u32(spec.bulb_check, spec.name),
            "after_start": u32(spec.after_start, spec.name),
        }
    )


def _lamp(name: str, spec: LampSpec, arrays: Arrays) -> str:
    causes = [
        struct(
            {
                "on": i32(one.on, name),
                "off": i32(one.off, name),
                "quantity": u16(one.quantity, name),
            }
        )
        for one in spec.causes
    ]
    return struct(
        {
            "causes": arrays.add("xb_lamp_cause_spec", "lamp_causes", causes),
            "cause_count": u32(len(causes), name),
            "on_delay": u32(spec.on_delay, name),
            "off_delay": u32(spec.off_delay, name),
            "output": u16(spec.output, name),
            "standing": u8(spec.standing, name),
            "in_bulb_check": u8(spec.in_bulb_check, name),
            "lit_on_loss": u8(spec.lit_on_loss, name),
        }
    )


def engine_speed_gauge(spec: EngineSpeedGaugeSpec, arrays: Arrays, first_part: int) -> str:
    """Return an engine speed gauge."""
    del arrays, first_part
    return struct(
        {
            "rise": u32(spec.rise, spec.name),
            "fall": u32(spec.fall, spec.name),
            "hold": u32(spec.hold, spec.name),
            "control_ms": u32(spec.control_ms, spec.name),
            "on_loss": i32(spec.on_loss, spec.name),
            "input": u16(spec.input, spec.name),
            "output": u16(spec.output, spec.name),
        }
    )


def pulse_output(spec: PulseOutputSpec, arrays: Arrays, first_part: int) -> str:
    """Return a pulse output."""
    del arrays, first_part
    return struct(
        {
            "a": i64(spec.a, spec.name),
            "d": i64(spec.d, spec.name),
            "lowest": i32(spec.lowest, spec.name),
            "highest": i32(spec.highest, spec.name),
            "on_loss": i32(spec.on_loss, spec.name),
            "input": u16(spec.input, spec.name),
            "output": u16(spec.output, spec.name),
        }
    )


def fuel_level(spec: FuelLevelSpec, arrays: Arrays, first_part: int) -> str:
    """Return a fuel level."""
    del arrays, first_part
    return struct(
        {
            "road_speed": i32(spec.road_speed, spec.name),
            "moving_above": i32(spec.moving_above, spec.name),
            "standing_ms": u32(spec.standing_ms, spec.name),
            "moving_ms": u32(spec.moving_ms, spec.name),
            "hold": u32(spec.hold, spec.name),
            "control_ms": u32(spec.control_ms, spec.name),
            "on_loss": i32(spec.on_loss, spec.name),
            "input": u16(spec.input, spec.name),
            "output": u16(spec.output, spec.name),
        }
    )


def consumption_counter(spec: ConsumptionCounterSpec, arrays: Arrays, first_part: int) -> str:
    """Return a consumption counter."""
    del arrays, first_part
    return struct(
        {
            "a": u64(spec.a, spec.name),
            "d": u64(spec.d, spec.name),
            "modulus": u32(spec.modulus, spec.name),
            "input": u16(spec.input, spec.name),
            "output": u16(spec.output, spec.name),
        }
    )


def vehicle_speed(spec: VehicleSpeedSpec, arrays: Arrays, first_part: int) -> str:
    """Return a vehicle speed."""
    del first_part
    name = spec.name
    return struct(
        {
            "wheels": arrays.indices(spec.wheels),
            "a": i64(spec.a, name),
            "b": i64(spec.b, name),
            "d": i64(spec.d, name),
            "wheel_count": u32(len(spec.wheels), name),
            "shown": i32(spec.shown, name),
            "least": u32(spec.least, name),
            "spread": i32(spec.spread, name),
            "spread_permille": i32(spec.spread_permille, name),
            "disagree": u32(spec.disagree, name),
            "hold": u32(spec.hold, name),
            "on_loss": i32(spec.on_loss, name),
            "shown_on_loss": i32(spec.shown_on_loss, name),
            "output": u16(spec.output, name),
        }
    )
