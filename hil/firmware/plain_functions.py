"""Table entries of the plain vehicle functions, one builder a kind."""

from hil.firmware.notation import Arrays, curve, i32, i64, points, struct, u16, u32
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.mapping import MappingSpec


def cooling_fan(spec: CoolingFanSpec, arrays: Arrays, first_stage: int) -> str:
    """Return a cooling fan."""
    name = spec.name
    stages = [
        struct({"on": i32(s.on, name), "off": i32(s.off, name), "output": u16(s.output, name)})
        for s in spec.stages
    ]
    requests = [
        struct({"quantity": u16(one.quantity, name), "stage": u16(one.stage, name)})
        for one in spec.requests
    ]
    return struct(
        {
            "stages": arrays.add("xb_fan_stage_spec", "stages", stages),
            "requests": arrays.add("xb_fan_request_spec", "requests", requests),
            "stage_count": u32(len(stages), name),
            "request_count": u32(len(requests), name),
            "first_stage": u32(first_stage, name),
            "min_on": u32(spec.min_on, name),
            "min_off": u32(spec.min_off, name),
            "on_loss_stage": u32(spec.on_loss_stage, name),
            "coolant": u16(spec.coolant, name),
        }
    )


def fuel_pump(spec: FuelPumpSpec, arrays: Arrays, first_part: int) -> str:
    """Return a fuel pump."""
    del arrays, first_part
    return struct(
        {
            "rotation_above": i32(spec.rotation_above, spec.name),
            "prime": u32(spec.prime, spec.name),
            "off_delay": u32(spec.off_delay, spec.name),
            "output": u16(spec.output, spec.name),
            "engine_speed": u16(spec.engine_speed, spec.name),
        }
    )


def gauge(spec: GaugeSpec, arrays: Arrays, first_part: int) -> str:
    """Return a gauge."""
    del first_part
    return struct(
        {
            "curve": curve(arrays, spec.points, spec.name),
            "hysteresis": i64(spec.hysteresis, spec.name),
            "on_loss": i32(spec.on_loss, spec.name),
            "input": u16(spec.input, spec.name),
            "output": u16(spec.output, spec.name),
        }
    )


def mapping(spec: MappingSpec, arrays: Arrays, first_part: int) -> str:
    """Return a mapping; with a table the straight line is not used."""
    del first_part
    return struct(
        {
            "table": points(arrays, spec.table, spec.name),
            "table_count": u32(len(spec.table), spec.name),
            "a": i64(spec.a, spec.name),
            "b": i64(spec.b, spec.name),
            "d": i64(spec.d, spec.name),
            "otherwise": i32(spec.otherwise, spec.name),
            "on_loss": i32(spec.on_loss, spec.name),
            "input": u16(spec.input, spec.name),
            "output": u16(spec.output, spec.name),
        }
    )
