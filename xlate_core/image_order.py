"""The order of the state image: every record of one engine, and the path it is shown under."""

from collections.abc import Callable, Iterator
from typing import Any

from xlate_core.control import Control
from xlate_core.frames import BUS_NAMES, Bus
from xlate_core.intake import Intake
from xlate_core.interface import Common
from xlate_core.kept_memory import StartState
from xlate_core.sending import Sender
from xlate_core.state_image import NamedRecord
from xlate_core.terminals import Terminals


def records(
    common: Common,
    start: StartState,
    intake: Intake,
    terminals: Terminals,
    control: Control,
    sender: Sender,
) -> Iterator[NamedRecord]:
    """Yield every state record in image order (rule 15)."""
    spec = common.spec
    yield NamedRecord("clockwork", common.clockwork)
    if spec.keeps:
        yield NamedRecord("start", start)
    for bus, counts in zip(Bus, intake.bus_counts, strict=True):
        yield NamedRecord(f"bus.{BUS_NAMES[bus]}", counts)
    if spec.watches_buses:
        for bus, line in zip(Bus, common.lines, strict=True):
            yield NamedRecord(f"bus.{BUS_NAMES[bus]}.state", line)
    for number, clock in enumerate(intake.clocks):
        yield NamedRecord(f"clock.{number}", clock)
    yield NamedRecord("power", control.power)
    if spec.power.sleep is not None:
        yield NamedRecord("sleep", control.sleep)
    yield from control.memory_records()
    protected = intake.protected
    groups: tuple[tuple[str, Any, Any], ...] = (
        ("message", spec.messages, intake.messages),
        ("profile", [one.message for one in protected], [one.state for one in protected]),
        ("unit", spec.units, intake.units),
        ("source", spec.sources, intake.sources),
        ("quantity", spec.quantities, common.store.states),
        ("input", spec.pins.levels, terminals.level_inputs),
        ("fault", spec.faults, control.faults),
        ("function", spec.functions, control.functions),
        ("transmit", spec.transmits, sender.transmits),
        ("route", spec.routes, sender.routes),
        ("condition", spec.conditions, common.conditions),
    )
    for kind, specs, states in groups:
        for one, state in zip(specs, states, strict=True):
            yield NamedRecord(f"{kind}.{one.name}", state)
            parts: Callable[[], list[Any]] = getattr(state, "parts", list)
            for number, part in enumerate(parts()):
                yield NamedRecord(f"{kind}.{one.name}.{number}", part)
