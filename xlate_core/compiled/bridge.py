"""The fast form of the engine: same interface, same state image, same results, less work.

In ordinary traffic a text generated from the pairing runs (`ticking.py`). Whatever is out of the
ordinary (a deadline passes, a lost message returns, one message comes twice in a tick, a condition
changes, a reset, a restored snapshot) is done by the readable engine itself, on the same records:
the fast form hands over, the readable engine runs the tick, and the fast form takes over again when
things are calm.

Frames are taken in the tick that follows them, so a state is looked at between a tick and the next
frame, as the rules say. An observer is told when they come, so an observed engine is the
readable one.
"""

from collections.abc import Callable, Iterable, Iterator

from xlate_core.bridge import Bridge
from xlate_core.compiled.calm import is_calm
from xlate_core.compiled.columns import Arrivals, Sent
from xlate_core.compiled.interpreted import TRANSLATED
from xlate_core.compiled.program import is_available, program_of
from xlate_core.compiled.support import Support
from xlate_core.events import Observer, Reason
from xlate_core.fields import Field
from xlate_core.frames import Frame
from xlate_core.interface import BridgeSpec, Inputs, Outputs, ResetCause
from xlate_core.quantities import QuantityState
from xlate_core.state_image import NamedRecord

CALM_BEFORE_FIRST = 64  # ticks; a short run never pays for a text
LONGEST_PATIENCE = 256
SHORT_STAY = 64  # ticks; who left so soon waits longer the next time
UNTOLD = frozenset({Reason.FRAME_UNKNOWN, Reason.FAILSAFE_ENTERED, Reason.FAILSAFE_LEFT})
"""What happens in the fast form without being told; the rest is told by readable code it calls."""


def engine_of(
    spec: BridgeSpec,
    observer: Observer | None = None,
    plain: bool = False,
    calm_before_first: int = CALM_BEFORE_FIRST,
) -> "Bridge | CompiledBridge":
    """Return an engine of a pairing: the fast form, or the readable one where it has to be."""
    if plain or observer is not None or not is_suited(spec) or not is_available(spec):
        return Bridge(spec, observer)
    return CompiledBridge(spec, calm_before_first)


def is_suited(spec: BridgeSpec) -> bool:
    """Return whether the fast form knows all the pairing asks for, and can follow the engine.

    It does not know bus states, sleep and received profiles, whose checks move in idle ticks too.
    """
    if any(message.profile is not None for message in spec.messages):
        return False
    return not spec.watches_buses and all(fault.bus < 0 for fault in spec.faults)


class CompiledBridge:
    """The engine of one pairing; `receive` and `tick` are attributes that change with the traffic.

    `calm_before_first` is the number of ticks the readable engine runs first.
    """

    __slots__ = (
        "_before_first",
        "_calm",
        "_entered",
        "_fast",
        "_may_run",
        "_patience",
        "_pending",
        "_short_stays",
        "_suited",
        "_support",
        "plain",
        "receive",
        "receive_all",
        "spec",
        "tick",
    )

    receive: Callable[[Frame], None]
    receive_all: Callable[[Iterable[Frame]], None]
    tick: Callable[[Inputs], Outputs]
    _support: Support | None

    def __init__(
        self,
        spec: BridgeSpec,
        calm_before_first: int = CALM_BEFORE_FIRST,
    ) -> None:
        """Build the engine in its power-on reset state."""
        self.spec = spec
        self.plain = Bridge(spec)
        self._before_first = calm_before_first
        self._suited = self._may_run = is_suited(spec) and is_available(spec)
        self._pending: list[Frame] = []
        self.receive = self._pending.append
        self.receive_all = self._pending.extend
        self._begin()

    def _begin(self) -> None:
        self._support = None
        self._fast = False
        self._calm = 0
        self._entered = 0
        self._patience = self._before_first
        self._short_stays = 0
        self.tick = self._plain_tick

    def reset(self, cause: ResetCause, kept: bytes | None = None) -> None:
        """Put every field to its reset value, as the readable engine does."""
        self._leave()
        self._take_pending()
        self.plain.reset(cause, kept)
        self._begin()

    def observe(self, observer: Observer | None, reasons: frozenset[Reason] | None = None) -> None:
        """Tell an observer from here on, or nobody; while one listens the readable engine runs.

        Who names `reasons` none of which is in UNTOLD lets the fast form run: of them, and of
        nothing else, all is told, but in the tick that follows the frames and not by its number.
        """
        stays = observer is None or (reasons is not None and not reasons & UNTOLD)
        if not stays:
            self._leave()
            self._take_pending()
        self.plain.observe(observer)
        self._may_run = self._suited and stays
        self.receive = self._pending.append if stays else self.plain.receive
        self.receive_all = self._pending.extend if stays else self.plain.receive_all

    @property
    def now(self) -> int:
        """Number of the next tick; 0 is the first after reset."""
        if self._fast and self._support is not None:
            return self._support.number()
        return self.plain.now

    def quantity(self, index: int) -> QuantityState:
        """Return the state of one quantity."""
        return self.plain.quantity(index)

    def records(self) -> Iterator[NamedRecord]:
        """Yield every state record in image order."""
        self._settle()
        return self.plain.records()

    def image(self) -> bytes:
        """Return the state image, to be taken between a tick and the next frame."""
        self._settle()
        return self.plain.image()

    def digest(self) -> int:
        """Return the CRC-32/ISO-HDLC of the state image."""
        self._settle()
        return self.plain.digest()

    def dump(self) -> list[tuple[str, Field, int]]:
        """Return (path, declaration, value) of every state field."""
        self._settle()
        return self.plain.dump()

    def field(self, path: str) -> int:
        """Return one state field by the path `dump` shows it under; KeyError for an unknown one."""
        self._settle()
        return self.plain.field(path)

    def kept(self) -> bytes:
        """Return the memory that survives a reset, to be taken between ticks."""
        self._settle()
        return self.plain.kept()

    @property
    def kept_layout(self) -> int:
        """The number of the layout of the kept memory."""
        return self.plain.kept_layout

    def restore(self, image: bytes) -> None:
        """Take up a snapshot of the same pairing; raises ImageError when its length differs."""
        self._leave()
        self._take_pending()
        self.plain.restore(image)

    def run(self, arrivals: Arrivals, inputs: Inputs, sent: Sent) -> None:
        """Run a number of ticks with the same inputs, as `receive_all` and `tick` for each would.

        `sent` starts empty but for its `last`. Where the text has no spans, or not at the moment,
        tick by tick.
        """
        if self._pending:
            raise ValueError("frames are waiting for a tick")
        bounds = arrivals.bounds
        tick, end = 0, len(bounds) - 1
        for stop in [*arrivals.apart, end]:
            while tick < min(stop + 1, end):
                place = bounds[tick]
                support = self._support if self._fast else None
                if support is not None and support.run is not None and tick < stop:
                    tick = support.run(arrivals, tick, stop, inputs, sent)
                    if tick == stop:
                        continue
                    place = support.stopped()
                frames = [arrivals.frame(at) for at in range(place, bounds[tick + 1])]
                sent.end_tick(tick, self._tick_from(inputs, frames, begun=place > bounds[tick]))
                tick += 1

    def _tick_from(self, inputs: Inputs, frames: list[Frame], begun: bool) -> Outputs:
        """Run a tick with its frames, or with those that are left of a tick that was `begun`."""
        if begun:
            return self._leave_in_tick(inputs, frames)
        self._pending.extend(frames)
        return self.tick(inputs)

    def has_spans(self) -> bool:
        """Return whether `run` may take many ticks in one go: the text is in machine code."""
        return TRANSLATED and self._suited

    def is_fast(self) -> bool:
        """Return whether the generated text runs at the moment."""
        return self._fast

    # BETWEEN THE TWO FORMS

    def _settle(self) -> None:
        """Bring the records up to date."""
        if self._pending:
            self._leave()
            self._take_pending()
        elif self._fast and self._support is not None:
            self._support.settle_live()

    def _take_pending(self) -> None:
        for frame in self._pending:
            self.plain.receive(frame)
        self._pending.clear()

    def _leave(self) -> None:
        """Give the records back to the readable engine."""
        if self._fast and self._support is not None:
            self._support.hand_back()
            self._fast = False
            self.tick = self._plain_tick
            lasted = self.plain.common.now - self._entered
            self._short_stays = self._short_stays + 1 if lasted < SHORT_STAY else 0
            self._patience = min(2 << self._short_stays, LONGEST_PATIENCE)
            self._calm = 0

    def _leave_in_tick(self, inputs: Inputs, frames: Iterable[Frame] | None) -> Outputs:
        """Have the readable engine run a tick, whose first frames may have been taken already."""
        if frames is not None:
            self._pending[:] = frames
        self._leave()
        return self._plain_tick(inputs)

    def _plain_tick(self, inputs: Inputs) -> Outputs:
        """Run a tick on the readable engine; take over from it when it has been calm for long."""
        if self._fast and self._support is not None:
            return self._support.tick(inputs)
        plain = self.plain
        for frame in self._pending:
            plain.receive(frame)
        self._pending.clear()
        outputs = plain.tick(inputs)
        self._calm += 1
        if self._calm >= self._patience and self._may_run:
            self._enter(inputs, outputs)
        return outputs

    def _enter(self, inputs: Inputs, outputs: Outputs) -> None:
        if self._support is None:
            self._support = Support(self.plain, self._pending, self._leave_in_tick)
            program_of(self.spec)(self.plain, self._support)
        if is_calm(self._support) and self._support.enter(self.plain.now, inputs, outputs):
            self._fast = True
            self._entered = self.plain.now
            self.tick = self._support.tick
        else:
            self._calm = max(0, self._patience - 8)
