"""Seed after seed: a drawn pairing, its C core, random traffic, three engines side by side.

The readable reference, its fast form and the board get the same frames and inputs. Outputs are
compared in every tick, the state digest every DIGEST_EVERY ticks and at the end of a round. What
differs is cut to a small scenario and kept with its pairing.
"""

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from hil.boards.interface import Board
from hil.boards.native_library import NativeLibraryBoard
from hil.boards.reference import ReferenceBoard
from hil.differences import Kind
from hil.firmware.building import build_library
from hil.reduced_scenario import scenario_text
from hil.reduction import events_of, kind_of, reduce_events
from hil.repetition import Play
from hil.soak.maker import make
from hil.vectors import random_traffic
from hil.vectors.files import write_whole
from hil.vectors.names import Names, names_of
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.compiled import CompiledBridge
from xlate_core.frames import Frame
from xlate_core.pairing.model import Pairing

STYLES = ("driving", "disturbed", "hostile")
DIGEST_EVERY = 250
TICKS_A_ROUND = 20_000

BuildBoard = Callable[[Pairing, Path], Board]


@dataclass(frozen=True, slots=True)
class Round:
    """One style of traffic on one drawn pairing, and what differed ("" = nothing)."""

    seed: int
    style: str
    ticks: int
    difference: str
    kept: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class Parted:
    """The first difference of a round."""

    tick: int
    who: str
    kind: Kind


class FastBoard(ReferenceBoard):
    """The fast form of the reference behind the interface of all boards."""

    def __init__(self, pairing: Pairing) -> None:
        """Generate the engine of a pairing."""
        super().__init__(pairing)
        self.fast = CompiledBridge(pairing.spec)

    def reset(self, cause: ResetCause, keep: bool) -> None:
        """Restart; with `keep` the memory that survives a reset survives."""
        self.fast.digest()  # brings the readable state up to date
        self.fast.reset(cause, self.fast.plain.kept() if keep else None)

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Receive the frames in order, then run one tick."""
        for frame in frames:
            self.fast.receive(frame)
        return self.fast.tick(inputs)

    def digest(self) -> int:
        """Return the digest of the state image."""
        return self.fast.digest()

    def image(self) -> bytes:
        """Return the state image."""
        return self.fast.image()


def native(pairing: Pairing, folder: Path) -> Board:
    """Build and load the C core of a pairing."""
    return NativeLibraryBoard(pairing, build_library(pairing, folder))


def rounds(
    seed: int,
    keep: Path,
    ticks: int = TICKS_A_ROUND,
    build: BuildBoard = native,
    styles: tuple[str, ...] = STYLES,
) -> Iterator[Round]:
    """Yield round after round, without end; every pairing is used for all styles."""
    while True:
        with tempfile.TemporaryDirectory(prefix="xlate_soak_") as name:
            folder = Path(name)
            pairing = make(seed, folder / f"drawn_{seed}")
            board = build(pairing, folder)
            for style in styles:
                yield run_round(pairing, board, seed, style, ticks, keep)
        seed += 1


def run_round(
    pairing: Pairing, board: Board, seed: int, style: str, ticks: int, keep: Path
) -> Round:
    """Run one round; keep what differs."""
    names = names_of(pairing)
    parted, done = lockstep(pairing, board, seed, style, ticks)
    if parted is None:
        return Round(seed, style, done, "")
    said = f"seed {seed}, {style}, tick {parted.tick}: {parted.who} ({parted.kind})"
    return Round(
        seed, style, done, said, tuple(keep_difference(names, board, seed, style, parted, keep))
    )


def lockstep(
    pairing: Pairing, board: Board, seed: int, style: str, ticks: int
) -> tuple[Parted | None, int]:
    """Run the three engines; return where one parts from the readable reference, and the ticks."""
    plain = ReferenceBoard(pairing)
    fast = FastBoard(pairing)
    for one in (plain, fast, board):
        one.reset(ResetCause.POWER_ON, False)
    for step in random_traffic.steps(names_of(pairing), seed, style, ticks):
        if step.reset is not None:
            for one in (plain, fast, board):
                one.reset(*step.reset)
        frames = tuple(stimulus.frame for stimulus in step.stimuli)
        wanted = plain.step(step.inputs, frames)
        quick = fast.step(step.inputs, frames)
        actual = board.step(step.inputs, frames)
        parted = _parted(step.tick, wanted, quick, actual)
        if parted is None and (step.tick % DIGEST_EVERY == 0 or step.tick == ticks - 1):
            digest = plain.digest()
            if fast.digest() != digest:
                parted = Parted(step.tick, "the fast form", Kind.STATE)
            elif board.digest() != digest:
                parted = Parted(step.tick, "the board", Kind.STATE)
        if parted is not None:
            return parted, step.tick + 1
    return None, ticks


def _parted(tick: int, wanted: Outputs, quick: Outputs, actual: Outputs) -> Parted | None:
    if quick != wanted:
        return Parted(tick, "the fast form", kind_of(wanted, quick))
    if actual != wanted:
        return Parted(tick, "the board", kind_of(wanted, actual))
    return None


def keep_difference(
    names: Names, board: Board, seed: int, style: str, parted: Parted, keep: Path
) -> Iterator[Path]:
    """Write pairing and reduced scenario into a folder of their own; yield the files."""
    folder = keep / f"seed_{seed}_{style}"
    for name in ("bridge.toml", "body.dbc", "engine.dbc"):
        path = folder / "pairings" / names.pairing.name / name
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, (names.pairing.directory / name).read_bytes())
        yield path
    other: Board = board
    if parted.who == "the fast form":
        other = FastBoard(names.pairing)
    events = events_of(plays(names, seed, style, parted.tick + 1), names, parted.tick + 1)
    reduced = reduce_events(events, names, other, parted.kind, parted.tick, lambda *_: None)
    if reduced is None:
        return
    identity = f"seed_{seed}_{style}"
    path = folder / f"{identity}.scenario"
    text = scenario_text(identity, f"soak seed {seed}, {style}", parted.who, reduced, names)
    write_whole(path, text.encode("utf-8"))
    yield path


def plays(names: Names, seed: int, style: str, ticks: int) -> Iterator[Play]:
    """Yield the traffic of a round as vectors give theirs."""
    for step in random_traffic.steps(names, seed, style, ticks):
        yield step.tick, step.reset, step.inputs, tuple(one.frame for one in step.stimuli)
