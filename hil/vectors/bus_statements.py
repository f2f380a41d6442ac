"""The statement that says what a bus controller tells the module."""

from hil.vectors.names import Names
from hil.vectors.scenario import Scenario, SetBus
from hil.vectors.words import Words
from xlate_core.buses import BusInput, ControllerState
from xlate_core.frames import BUS_NAMES

FORMS_BUS = (
    "`at TIME bus BUS good|error_passive|off`, `from TIME bus BUS unacknowledged [until TIME]` or "
    "`from TIME bus BUS garbled [until TIME]`"
)
CONDITIONS = {
    "good": BusInput(),
    "error_passive": BusInput(int(ControllerState.ERROR_PASSIVE)),
    "off": BusInput(int(ControllerState.BUS_OFF)),
    "unacknowledged": BusInput(unacknowledged=1),
    "garbled": BusInput(errors=1),
}
"""Condition of a bus -> what its controller tells in every tick of it."""


def read_bus(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read the condition of a bus, to the next such line or `until`."""
    words.forms = FORMS_BUS
    words.keyword("bus")
    bus = BUS_NAMES.index(words.choice("bus", BUS_NAMES))
    condition = words.choice("condition of a bus", CONDITIONS)
    scenario.actions.append(SetBus(tick, bus, CONDITIONS[condition]))
    if words.maybe("until"):
        until = words.ticks("the end", names.tick_ms)
        if until <= tick:
            raise words.error("the end must be behind the start")
        scenario.actions.append(SetBus(until, bus, BusInput()))
    words.end()
