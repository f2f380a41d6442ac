"""Table entries of the plain vehicle functions, one builder a kind."""

from hil.firmware.notation import Arrays, curve, i32, i64, points, struct, u16, u32
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.mapping import MappingSpec


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
