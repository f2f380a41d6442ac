"""The board `reference`: the engine itself, in this process."""

from hil.boards.interface import Identity
from hil.boards.options import BoardOptions
from xlate_core.bridge import RULES, Inputs, Outputs, ResetCause
from xlate_core.compiled import engine_of
from xlate_core.events import Event, Reason
from xlate_core.frames import Frame
from xlate_core.pairing.model import Pairing
from xlate_core.quantities import Status

STATUS_WORDS = {status.value: status.name.lower() for status in Status}


class ReferenceBoard:
    """The reference engine behind the interface of all boards.

    With `observe` it collects events, which costs time; normal runs go without. With `fast` the
    fast form runs instead of the readable one; it does the same.
    """

    def __init__(self, pairing: Pairing, observe: bool = False, fast: bool = False) -> None:
        """Build the engine of a pairing."""
        self.pairing = pairing
        self.events: list[Event] = []
        observer = self.events.append if observe else None
        self.bridge = engine_of(pairing.spec, observer, plain=not fast)
        self._quantities = {q.name: index for index, q in enumerate(pairing.spec.quantities)}

    def observe(self, observe: bool, reasons: frozenset[Reason] | None = None) -> None:
        """Collect events from here on, or no more; with `reasons` of those, in their tick."""
        self.bridge.observe(self.events.append if observe else None, reasons)

    def identity(self) -> Identity:
        """Say what this board is."""
        return Identity("reference", f"rules {RULES}", RULES, self.pairing.digest)

    def reset(self, cause: ResetCause, keep: bool) -> None:
        """Restart; with `keep` the memory that survives a reset survives."""
        self.bridge.reset(cause, self.bridge.kept() if keep else None)

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Receive the frames in order, then run one tick."""
        self.bridge.receive_all(frames)
        return self.bridge.tick(inputs)

    def digest(self) -> int:
        """Return the digest of the state image."""
        return self.bridge.digest()

    def image(self) -> bytes:
        """Return the state image."""
        return self.bridge.image()

    def dump(self) -> list[tuple[str, int]]:
        """Return path and value of every state field, for explanations."""
        return [(path, value) for path, _, value in self.bridge.dump()]

    def field(self, path: str) -> int:
        """Return the value of one state field."""
        return self.bridge.field(path)

    def take_events(self) -> list[Event]:
        """Return the events since the last call, in order."""
        if not self.events:
            return []
        taken = list(self.events)
        self.events.clear()
        return taken

    def quantity(self, name: str) -> tuple[int, str]:
        """Return value and status word of a quantity."""
        state = self.bridge.quantity(self._quantities[name])
        return state.value, STATUS_WORDS[state.status]


def open(name: str, pairing: Pairing, options: BoardOptions) -> ReferenceBoard:  # noqa: A001
    """Open the reference: its fast form, unless the readable one is asked for."""
    del name
    return ReferenceBoard(pairing, fast=not options.plain)
