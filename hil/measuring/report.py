"""All that is measured of one firmware, and its words for a person."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from hil.measuring.corpus import Times, measure_corpus
from hil.measuring.meter import Meter
from hil.measuring.samples import bars
from hil.measuring.search import Worst, search, words
from hil.runner import Pairings, is_vector
from xlate_core.pairing import load
from xlate_core.pairing.model import Pairing

INSTRUCTIONS, CYCLES = "instructions", "core cycles"


@dataclass(frozen=True, slots=True)
class Request:
    """What to measure. Without vectors only the search runs; `ticks` of every vector count."""

    vectors: Path | None
    ticks: int
    tries: int
    seed: int
    bound: bool


@dataclass(slots=True)
class Found:
    """Figures of one firmware, in counts: instructions when emulated, core cycles on silicon."""

    pairing: str
    hertz: int
    stack: int = 0
    keeping: int = 0
    all: Times = field(default_factory=Times)
    by_vector: dict[str, Times] = field(default_factory=dict)
    worst: Worst = field(default_factory=lambda: Worst(0, None, 0))
    worst_words: tuple[str, ...] = ()
    bound: int | None = None
    bound_words: tuple[str, ...] = ()
    counts_are: str = INSTRUCTIONS
    static_stack: int | None = None

    def microseconds(self, counts: int) -> str:
        """Return counts as microseconds, an instruction taken for one cycle."""
        tenths = -(-counts * 10_000_000 // max(self.hertz, 1))
        return f"{tenths // 10}.{tenths % 10}"

    def worst_tick(self) -> int:
        """Return the longest tick seen, in a vector or in the search."""
        return max(self.all.tick.most, self.worst.counts)

    def plain(self) -> dict[str, object]:
        """Return everything as JSON holds it."""
        return {
            "pairing": self.pairing,
            "hertz": self.hertz,
            "counts_are": self.counts_are,
            "worst_tick_us": float(self.microseconds(self.worst_tick())),
            "stack_octets": self.stack,
            "stack_by_compiler_octets": self.static_stack,
            "receive": self.all.receive.plain(),
            "tick": self.all.tick.plain(),
            "reset": self.all.reset.plain(),
            "keeping": self.keeping,
            "search": {
                "worst_tick": self.worst.counts,
                "tries": self.worst.tries,
                "input": list(self.worst_words),
            },
            "bound": {"tick": self.bound, "parts": list(self.bound_words)},
            "by_vector": {
                name: {"tick": times.tick.most, "receive": times.receive.most}
                for name, times in self.by_vector.items()
            },
        }


def measure(
    meter: Meter,
    pairing: Pairing,
    request: Request,
    progress: Callable[[str], None] = lambda _: None,
    counts_are: str = INSTRUCTIONS,
) -> Found:
    """Measure the vectors of a pairing and search for the longest tick."""
    found = Found(pairing.name, meter.hertz, counts_are=counts_are)
    if request.vectors is not None and request.vectors.is_dir():
        paths = [path for path in sorted(request.vectors.iterdir()) if is_vector(path)]
        pairings = Pairings(pairing.directory.parent, load, {})
        found.by_vector = measure_corpus(meter, paths, pairings, request.ticks, progress)
        for times in found.by_vector.values():
            found.all.merge(times)
    found.worst = search(meter, pairing, request.tries, request.seed, progress)
    if found.worst.found is not None:
        found.worst_words = tuple(words(pairing.spec, found.worst.found))
    found.keeping = meter.keeping()
    found.stack = meter.stack()
    return found


def lines(found: Found, goal: int) -> list[str]:
    """Return the report as lines of text."""
    out = [f"{found.pairing}, {found.counts_are} at {found.hertz // 1_000_000} MHz"]
    for name in ("receive", "tick", "reset"):
        samples = getattr(found.all, name)
        if samples.count:
            mean = samples.total // samples.count
            out.append(
                f"{name:<8} {samples.count:>8} calls: least {samples.least}, mean {mean}, "
                f"most {samples.most}  ({samples.where})"
            )
    if found.all.tick.count:
        out.append("ticks by length (bars by the logarithm of their number):")
        out += bars(found.all.tick)
    out.append(f"search   {found.worst.tries:>8} tries: longest tick {found.worst.counts}, after")
    out += [f"  {line}" for line in found.worst_words]
    if found.bound is not None:
        out.append(f"bound: no tick takes more than {found.bound}, being the sum of")
        out += [f"  {line}" for line in found.bound_words]
    share = found.worst_tick() * 1000 * 1000 // max(found.hertz, 1)
    assumed = " if each takes one cycle" if found.counts_are == INSTRUCTIONS else ""
    verdict = "met" if found.worst_tick() <= goal else "NOT MET"
    out.append(
        f"longest tick seen {found.worst_tick()}: {share // 10}.{share % 10} % of a millisecond "
        f"({found.microseconds(found.worst_tick())} us){assumed}; goal {goal}: {verdict}"
    )
    out.append(f"kept memory is written in {found.keeping}, after every control tick")
    limit = "" if found.static_stack is None else f", at most {found.static_stack} by the compiler"
    out.append(
        f"stack used {found.stack} octets by its paint, interrupts and the measuring loop "
        f"included{limit}"
    )
    return out
