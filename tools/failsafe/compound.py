"""Faults that come together: groups, pairs, contradictory switches, and named interactions."""

from collections.abc import Iterator, Sequence
from itertools import combinations

from tools.failsafe.bench import Bench
from tools.failsafe.faults import GROUP, INTERACTION, PAIR, Fault
from tools.failsafe.schema import InteractionTable, RequiredFile

CONTRADICTORY = "contradictory switches"


def compound_faults(tables: RequiredFile, single: Sequence[Fault]) -> Iterator[Fault]:
    """Yield every group as one fault, all pairs inside each group, and contradictory switches."""
    for name, group in tables.group.items():
        parts = _parts(group.faults, single)
        yield together(GROUP, f"group.{name}", parts)
        if len(parts) > 2:
            for pair in combinations(parts, 2):
                yield together(PAIR, _names(pair), pair)
    for name, contradiction in tables.contradiction.items():
        settings = contradiction.set

        def contradict(bench: Bench, settings: dict[str, object] = dict(settings)) -> None:  # noqa: B006
            bench.set(settings)  # type: ignore[arg-type]

        yield Fault(CONTRADICTORY, f"contradiction.{name}", contradict, restore)


def loss_pairs(tables: RequiredFile, single: Sequence[Fault]) -> Iterator[Fault]:
    """Yield all pairs of lost messages that are not pairs of a group already."""
    inside = {
        frozenset(pair) for group in tables.group.values() for pair in combinations(group.faults, 2)
    }
    losses = [one for one in single if one.kind == "lost"]
    for pair in combinations(losses, 2):
        if frozenset(one.name for one in pair) not in inside:
            yield together(PAIR, _names(pair), pair)


def interaction_fault(one: InteractionTable, single: Sequence[Fault]) -> Fault:
    """Return the fault of an interaction: its faults, some time, and what happens then."""
    parts = _parts(one.faults, single)

    def happen(bench: Bench) -> None:
        for part in parts:
            part.apply(bench)
        bench.run(one.after_ms // bench.tick_ms)
        bench.set(one.then)

    return Fault(INTERACTION, one.id, happen, restore, within_ms=one.within_ms)


def together(kind: str, subject: str, parts: Sequence[Fault]) -> Fault:
    """Return several faults as one."""

    def apply(bench: Bench) -> None:
        for part in parts:
            part.apply(bench)

    return Fault(kind, subject, apply, restore, parts=tuple(parts))


def restore(bench: Bench) -> None:
    """Put everything around the bridge back to what it was before the fault."""
    bench.restore_surroundings()


def _parts(names: Sequence[str], single: Sequence[Fault]) -> list[Fault]:
    known = {one.name: one for one in single}
    return [known[name] for name in names if name in known]


def _names(pair: Sequence[Fault]) -> str:
    return " + ".join(one.name for one in pair)
