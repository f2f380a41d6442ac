"""How a fault is noticed, by what the pairing says: enabling condition, threshold, least and most
time from the fault to its detection. The observed time has to lie between the two.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from tools.failsafe.faults import Fault
from tools.failsafe.names import TableNames
from xlate_core.interface import BridgeSpec
from xlate_core.reception import NO_CONDITION, UnitSpec

LOSSES = (
    "lost",
    "wrong checksum",
    "frozen counter",
    "short frame",
    "broken wire",
    "bus-off",
    "no acknowledge",
    "swapped buses",
)
"""Classes noticed by the deadline of a unit, because no frame is accepted any more."""
CODES = {"not available": 4, "error code": 5}


@dataclass(frozen=True, slots=True)
class Expected:
    """What the pairing says of the detection of a fault. Times in ms, None where there is none."""

    enabling: str = ""
    threshold: str = ""
    least_ms: int | None = None
    most_ms: int | None = None


NOTHING = Expected()


def expected(names: TableNames, fault: Fault) -> Expected:
    """Return how a fault is noticed; the earliest way of several parts."""
    if fault.parts:
        found = [one for one in (expected(names, part) for part in fault.parts) if one.threshold]
        return min(found, key=lambda one: one.most_ms or 0) if found else NOTHING
    spec = names.pairing.spec
    tick_ms = spec.tick_ms
    units = list(_units(spec, fault.subject))
    if fault.kind in LOSSES:
        return _by_deadline(names, units, fault)
    if fault.kind == "missing from start":
        supervised = [unit for unit in units if unit.first_deadline or unit.deadline]
        if not supervised:
            return NOTHING
        first = min(unit.first_deadline or unit.deadline for unit in supervised) * tick_ms
        enabling = _enabling(spec, supervised)
        return Expected(enabling, f"no frame for {first} ms of supervision", first, first)
    if fault.kind in (*CODES, "out of range", "jump"):
        cycle = _cycle(names, fault.subject)
        words = {
            "out of range": "raw value outside the valid range",
            "jump": "step between two frames above max_change",
        }.get(fault.kind, f"raw value is the code for {fault.kind}")
        return Expected("", f"{words}, at the next frame", 0, cycle)
    if fault.kind == "frozen":
        return _by_repetition(names, units)
    if fault.kind in ("open", "short to ground", "short to supply", "lost common reference"):
        return Expected("", "counts outside the valid band, at the next tick", 0, tick_ms)
    return NOTHING


def _units(spec: BridgeSpec, subject: str) -> Iterator[UnitSpec]:
    """Yield the reception units that a message, a signal's message or a bus is made of."""
    for unit in spec.units:
        message = spec.messages[unit.message].name
        if (
            subject in ("module", message)
            or message.startswith(f"{subject}.")
            or subject.startswith(f"{message}.")
        ):
            yield unit


def _cycle(names: TableNames, subject: str) -> int:
    """Return the cycle of the message of a signal in ms; of a page, one turn of all pages."""
    message = ".".join(subject.split(".")[:2])
    spec = names.pairing.spec
    received = next(one for one in spec.messages if one.name == message)
    pages = {low for unit in received.units for low, _ in spec.units[unit].selectors}
    return (names.names.received[message].layout.cycle_ms or 0) * max(1, len(pages))


def _enabling(spec: BridgeSpec, units: list[UnitSpec]) -> str:
    conditions = dict.fromkeys(
        spec.conditions[clock.condition].name
        for clock in (spec.clocks[unit.clock] for unit in units)
        if clock.condition != NO_CONDITION
    )
    return ", ".join(conditions)


def _by_deadline(names: TableNames, units: list[UnitSpec], fault: Fault) -> Expected:
    """Lost when age >= deadline; the last frame came up to a cycle before the fault."""
    spec = names.pairing.spec
    supervised = [unit for unit in units if unit.deadline]
    if not supervised:
        return NOTHING
    first = min(supervised, key=lambda unit: unit.deadline)
    deadline = first.deadline * spec.tick_ms
    cycle = _cycle(names, spec.messages[first.message].name)
    if fault.kind == "frozen counter":
        cycle = 0  # the first repeated frame comes up to a cycle after the fault
    words = f"age >= {deadline} ms of {first.name}"
    least = max(0, deadline - cycle)
    return Expected(_enabling(spec, supervised), words, least, deadline + spec.tick_ms)


def _by_repetition(names: TableNames, units: list[UnitSpec]) -> Expected:
    """Frozen after so many receptions with the same raw value."""
    spec = names.pairing.spec
    watched = [
        spec.sources[source]
        for unit in units
        for source in unit.sources
        if spec.sources[source].frozen_after
    ]
    if not watched:
        return NOTHING
    one = min(watched, key=lambda source: source.frozen_after)
    cycle = _cycle(names, one.name)
    words = f"{one.frozen_after} receptions with the same raw value of {one.name}"
    return Expected("", words, (one.frozen_after - 1) * cycle, one.frozen_after * cycle)
