"""Tables of everything that runs on control ticks, of pins and of conditions."""

from collections import Counter
from dataclasses import dataclass

from hil.firmware import function_tables
from hil.firmware.notation import NULL, Arrays, curve, i32, i64, struct, u8, u16, u32
from xlate_core.bridge import BridgeSpec
from xlate_core.conditions import ConditionSpec, Operator
from xlate_core.faults import FaultSpec
from xlate_core.pins import AnalogueInputSpec, PinKind

OPERATORS = tuple(Operator)  # in the order of xb_operator

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
        return {
            "levels": ("xb_level_input_spec", self.levels()),
            "analogues": ("xb_analogue_input_spec", self.analogues()),
            "outputs": ("xb_output_pin_spec", self.outputs()),
            "conditions": ("xb_condition_spec", [self.condition(one) for one in spec.conditions]),
            "faults": ("xb_fault_spec", [self.fault(one) for one in spec.faults]),
            "functions": ("xb_function_spec", self.functions()),
            **function_tables.tables(spec.functions, self.arrays),
        }

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
                    "curve": curve(self.arrays, one.points, one.name),
                    "bands": self.bands(one),
                    "band_count": u32(len(one.bands), one.name),
                    "valid_low": i32(one.valid[0], one.name),
                    "valid_high": i32(one.valid[1], one.name),
                    "source": i32(one.source, one.name),
                    "wiring": i32(one.wiring, one.name),
                }
            )
            for one in self.spec.pins.analogues
        ]

    def bands(self, spec: AnalogueInputSpec) -> str:
        """Return the name of the array of a ladder's contacts."""
        entries = (
            struct(
                {
                    "low": i32(band.low, spec.name),
                    "high": i32(band.high, spec.name),
                    "value": i32(band.value, spec.name),
                }
            )
            for band in spec.bands
        )
        return self.arrays.add("xb_band_spec", "bands", entries)

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
        """Return a fault; `entry` is its place in the fault memory."""
        kept = [fault.name for fault in self.spec.faults if fault.memory is not None]
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
                "bus": i32(spec.bus, spec.name),
                "bus_events": u8(spec.bus_events, spec.name),
                "entry": i32(kept.index(spec.name) if spec.name in kept else -1, spec.name),
            }
        )

    def sleep(self) -> str:
        """Return the address of the sleep's table, NULL where the module never sleeps."""
        spec = self.spec.power.sleep
        if spec is None:
            return NULL
        members = {
            "wake": self.arrays.indices(spec.wake),
            "wake_count": u32(len(spec.wake), "sleep wake"),
            "after": u32(spec.after, "sleep after"),
            "quiet_after": u32(spec.quiet_after, "sleep quiet_after"),
            "wake_buses": u8(spec.wake_buses, "sleep wake_buses"),
        }
        return self.arrays.one("xb_sleep_spec", "sleep", struct(members))

    def buses(self) -> list[str]:
        """Return the supervision of both buses."""
        return [
            struct(
                {
                    "quick": u32(one.quick, "bus quick"),
                    "slow": u32(one.slow, "bus slow"),
                    "listen_first": u32(one.listen_first, "bus listen_first"),
                    "quick_attempts": u16(one.quick_attempts, "bus quick_attempts"),
                    "no_acknowledge": u16(one.no_acknowledge, "bus no_acknowledge"),
                    "wrong_rate": u16(one.wrong_rate, "bus wrong_rate"),
                    "flood": u16(one.flood, "bus flood"),
                    "supervised": u8(one.supervised, "bus supervised"),
                }
            )
            for one in self.spec.buses
        ]

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
        members["kept"] = u8(spec.kept, "power kept")
        members["sleep"] = self.sleep()
        return struct(members)

    def functions(self) -> list[str]:
        """Return kind and place of every function in the listed order."""
        places: Counter[type] = Counter()
        entries = []
        for one in self.spec.functions:
            kind = function_tables.kind_of(one)
            place = u16(places[type(one)], one.name)
            entries.append(struct({"place": place, "kind": u8(kind, one.name)}))
            places[type(one)] += 1
        return entries
