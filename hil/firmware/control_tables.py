"""Tables of everything that runs on control ticks, of pins and of conditions."""

from collections import Counter
from dataclasses import dataclass

from hil.firmware.notation import Arrays, NotationError, i32, i64, struct, u8, u16, u32
from xlate_core.arithmetic import Points
from xlate_core.bridge import BridgeSpec
from xlate_core.conditions import ConditionSpec, Operator
from xlate_core.faults import FaultSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.mapping import MappingSpec
from xlate_core.pins import PinKind

OPERATORS = tuple(Operator)  # in the order of xb_operator
KINDS = (CoolingFanSpec, FuelPumpSpec, GaugeSpec, MappingSpec)  # in the order of xb_function_kind

Table = tuple[str, list[str]]


def bits(numbers: tuple[int, ...]) -> int:
    """Return one bit for every number."""
    return sum(1 << number for number in set(numbers))


@dataclass(frozen=True, slots=True)
class ControlTables:
    """The tables of one spec; what they point to goes to `arrays`."""

    spec: BridgeSpec
    arrays: Arrays

    def tables(self) -> dict[str, Table]:
        """Return member of xb_bridge_spec -> type and entries."""
        spec = self.spec
        fans: list[str] = []
        first_stage = 0
        for one in spec.functions:
            if isinstance(one, CoolingFanSpec):
                fans.append(self.cooling_fan(one, first_stage))
                first_stage += len(one.stages)
        return {
            "levels": ("xb_level_input_spec", self.levels()),
            "analogues": ("xb_analogue_input_spec", self.analogues()),
            "outputs": ("xb_output_pin_spec", self.outputs()),
            "conditions": ("xb_condition_spec", [self.condition(one) for one in spec.conditions]),
            "faults": ("xb_fault_spec", [self.fault(one) for one in spec.faults]),
            "functions": ("xb_function_spec", self.functions()),
            "cooling_fans": ("xb_cooling_fan_spec", fans),
            "fuel_pumps": (
                "xb_fuel_pump_spec",
                [self.fuel_pump(one) for one in spec.functions if isinstance(one, FuelPumpSpec)],
            ),
            "gauges": (
                "xb_gauge_spec",
                [self.gauge(one) for one in spec.functions if isinstance(one, GaugeSpec)],
            ),
            "mappings": (
                "xb_mapping_spec",
                [self.mapping(one) for one in spec.functions if isinstance(one, MappingSpec)],
            ),
        }

    def points(self, points: Points, what: str) -> str:
        """Return the name of an array of points."""
        entries = (struct({"x": i32(x, what), "y": i32(y, what)}) for x, y in points)
        return self.arrays.add("xb_point", "points", entries)

    def curve(self, points: Points, what: str) -> str:
        """Return a curve."""
        return struct({"points": self.points(points, what), "count": u32(len(points), what)})

    def levels(self) -> list[str]:
        """Return the switches."""
        return [
            struct(
                {
                    "debounce": u32(one.debounce, one.name),
                    "source": i32(one.source, one.name),
                    "active_high": u8(one.active_high, one.name),
                }
            )
            for one in self.spec.pins.levels
        ]

    def analogues(self) -> list[str]:
        """Return the analogue inputs."""
        return [
            struct(
                {
                    "curve": self.curve(one.points, one.name),
                    "valid_low": i32(one.valid[0], one.name),
                    "valid_high": i32(one.valid[1], one.name),
                    "source": i32(one.source, one.name),
                }
            )
            for one in self.spec.pins.analogues
        ]

    def outputs(self) -> list[str]:
        """Return the output pins with their place among those of their kind."""
        places: Counter[PinKind] = Counter()
        entries = []
        for one in self.spec.pins.outputs:
            members = {
                "quantity": u16(one.quantity, one.name),
                "place": u16(places[one.kind], one.name),
                "reset_value": i32(one.reset_value, one.name),
                "kind": u8(one.kind, one.name),
                "active_high": u8(one.active_high, one.name),
            }
            places[one.kind] += 1
            entries.append(struct(members))
        return entries

    def condition(self, spec: ConditionSpec) -> str:
        """Return a condition."""
        terms = (
            struct(
                {
                    "value": i64(one.value, spec.name),
                    "quantity": u16(one.quantity, spec.name),
                    "operator_": u8(OPERATORS.index(one.operator), spec.name),
                }
            )
            for one in spec.comparisons
        )
        low, high = spec.supply_mv or (0, 0)
        return struct(
            {
                "comparisons": self.arrays.add("xb_comparison_spec", "comparisons", terms),
                "comparison_count": u32(len(spec.comparisons), spec.name),
                "power_modes": u32(bits(spec.power_modes), spec.name),
                "supply_low": u32(low, spec.name),
                "supply_high": u32(high, spec.name),
                "after": u32(spec.after, spec.name),
                "has_supply": u8(spec.supply_mv is not None, spec.name),
            }
        )

    def fault(self, spec: FaultSpec) -> str:
        """Return a fault."""
        return struct(
            {
                "quantity": i32(spec.quantity, spec.name),
                "message": i32(spec.message, spec.name),
                "condition": i32(spec.condition, spec.name),
                "output": i32(spec.output, spec.name),
                "statuses": u32(bits(spec.statuses), spec.name),
                "up": i32(spec.up, spec.name),
                "down": i32(spec.down, spec.name),
                "limit": u16(spec.limit, spec.name),
                "latch": u8(spec.latch, spec.name),
            }
        )

    def power(self) -> str:
        """Return the power modes' table."""
        spec = self.spec.power
        signed = (
            "ignition",
            "accessory",
            "crank",
            "engine_speed",
            "mode_quantity",
            "supply_quantity",
            "running_above",
            "running_below",
        )
        members = {name: i32(getattr(spec, name), f"power {name}") for name in signed}
        members["cycle_off"] = u32(spec.cycle_off, "power cycle_off")
        members["after_run"] = u32(spec.after_run, "power after_run")
        return struct(members)

    def functions(self) -> list[str]:
        """Return kind and place of every function in the listed order."""
        places: Counter[int] = Counter()
        entries = []
        for one in self.spec.functions:
            if type(one) not in KINDS:
                raise NotationError(
                    f"{one.name}: the firmware has no function {type(one).__name__}"
                )
            kind = KINDS.index(type(one))
            entries.append(
                struct({"place": u16(places[kind], one.name), "kind": u8(kind, one.name)})
            )
            places[kind] += 1
        return entries

    def cooling_fan(self, spec: CoolingFanSpec, first_stage: int) -> str:
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
                "stages": self.arrays.add("xb_fan_stage_spec", "stages", stages),
                "requests": self.arrays.add("xb_fan_request_spec", "requests", requests),
                "stage_count": u32(len(stages), name),
                "request_count": u32(len(requests), name),
                "first_stage": u32(first_stage, name),
                "min_on": u32(spec.min_on, name),
                "min_off": u32(spec.min_off, name),
                "on_loss_stage": u32(spec.on_loss_stage, name),
                "coolant": u16(spec.coolant, name),
            }
        )

    def fuel_pump(self, spec: FuelPumpSpec) -> str:
        """Return a fuel pump."""
        return struct(
            {
                "rotation_above": i32(spec.rotation_above, spec.name),
                "prime": u32(spec.prime, spec.name),
                "off_delay": u32(spec.off_delay, spec.name),
                "output": u16(spec.output, spec.name),
                "engine_speed": u16(spec.engine_speed, spec.name),
            }
        )

    def gauge(self, spec: GaugeSpec) -> str:
        """Return a gauge."""
        return struct(
            {
                "curve": self.curve(spec.points, spec.name),
                "hysteresis": i64(spec.hysteresis, spec.name),
                "on_loss": i32(spec.on_loss, spec.name),
                "input": u16(spec.input, spec.name),
                "output": u16(spec.output, spec.name),
            }
        )

    def mapping(self, spec: MappingSpec) -> str:
        """Return a mapping; with a table the straight line is not used."""
        return struct(
            {
                "table": self.points(spec.table, spec.name),
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
