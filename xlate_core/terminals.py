"""What the terminals of the module say and carry: the pin phases of a tick (rule 3)."""

from xlate_core.interface import Common, Inputs
from xlate_core.pins import LevelInputState, PinKind, Reading, debounce, drive, measure
from xlate_core.quantities import SourceState, Status

READ_AS = {
    Reading.GOOD: Status.VALID,
    Reading.LOW: Status.ERROR,
    Reading.HIGH: Status.ERROR,
    Reading.BETWEEN: Status.IMPLAUSIBLE,
}
"""What an analogue reading means to the quantity that comes from it."""


class Terminals:
    """Level inputs, and what the output pins of one engine carry.

    - `bouncing`: an input is not debounced yet, it has to be read although nothing moved;
    - `moved`: a quantity behind an output pin changed.
    """

    __slots__ = (
        "bouncing",
        "common",
        "duty",
        "frequency",
        "level_inputs",
        "levels",
        "moved",
        "sources",
        "spec",
    )

    levels: tuple[bool, ...]
    duty: tuple[int, ...]
    frequency: tuple[int, ...]

    def __init__(self, common: Common, sources: list[SourceState]) -> None:
        """Put every input to its reset state; `sources` take what the inputs say."""
        self.spec = common.spec.pins
        self.common = common
        self.sources = sources
        self.level_inputs = [LevelInputState() for _ in self.spec.levels]
        self.bouncing = False
        self.look_at_everything()

    def read(self, inputs: Inputs) -> None:
        """Debounce switches and measure analogue inputs into their sources."""
        self.bouncing = False
        for index, level in enumerate(self.spec.levels):
            state = self.level_inputs[index]
            if debounce(level, state, inputs.levels[index]):
                self.bouncing = True
            self._say(level.source, state.active, Status.VALID)
        for index, analogue in enumerate(self.spec.analogues):
            value, reading = measure(analogue, inputs.counts[index])
            self._say(analogue.source, value, READ_AS[reading])
            if analogue.wiring >= 0:
                self.common.store.publish(analogue.wiring, reading)

    def _say(self, source: int, value: int | None, status: Status) -> None:
        """Write a pin's value and status to its source; without a value the last one stays."""
        if source < 0:
            return
        state = self.sources[source]
        if value is None:
            value = state.value
        if value != state.value or status != state.status:
            state.value = value
            state.status = status
            self.common.store.touched.add(self.common.spec.sources[source].quantity)

    def drive(self) -> None:
        """Work out what the output pins carry."""
        self.moved = False
        self.common.outputs_open = True
        driven: dict[PinKind, list[int]] = {kind: [] for kind in PinKind}
        for pin in self.spec.outputs:
            driven[pin.kind].append(drive(pin, self.common.store.states[pin.quantity].value))
        self.levels = tuple(bool(level) for level in driven[PinKind.LEVEL])
        self.duty = tuple(driven[PinKind.DUTY])
        self.frequency = tuple(driven[PinKind.FREQUENCY])

    def look_at_everything(self) -> None:
        """Take no shortcut in the next tick; part of every reset and restore."""
        self.moved = True
        self.levels = ()
        self.duty = ()
        self.frequency = ()
