"""What `xlate timing paths` says: facts as plain data for terminal, JSON and HTML. Times in ms."""

import statistics
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from tools.timing.board_time import board_time
from tools.timing.budgets import budget_us
from tools.timing.observation import Observed
from xlate_core.pairing import Pairing

TIGHT = Fraction(4, 5)  # observed / bound from which a bound is called tight
BINS = 24
DEFINITIONS = (
    "reaction time: from the change in the sending unit (for a pin: at the pin; for a loss: the",
    "    end of the last frame) to the end of the first frame that shows it, or to the pin.",
    "routed message: from the queueing of the original to the end of the copy.",
    "data age: the longest a value is the newest one others can read, from the queueing of its",
    "    source frame to the end of the next newer sent frame.",
    "clock: that of the model, exact; no host and no serial link. The engine is the real one.",
    "own: what is waited for on purpose (debounce, hold, dwell, plausibility) in the step tried.",
)
CAUTION = "A bound on paper is no approval: road use needs the checks of local regulations."


def facts(
    pairing: Pairing, observed: Sequence[Observed], samples: int, seed: int
) -> dict[str, Any]:
    """Return everything worth saying about the ways."""
    rows = [_row(pairing, one) for one in observed]
    seen = [row for row in rows if row["observed"]]
    tight = [row for row in seen if row["tightness"] is not None and row["tightness"] >= TIGHT]
    return {
        "pairing": pairing.name,
        "digest": pairing.digest,
        "samples": samples,
        "seed": seed,
        "clock_error_ppm": pairing.traffic.skew_ppm,
        "board_ms": board_time(pairing).us / 1000,
        "board_time_from": board_time(pairing).origin,
        "definitions": list(DEFINITIONS),
        "ways": rows,
        "observed": len(seen),
        "tight": len(tight),
        "exceeded": sum(row["verdict"] == "EXCEEDED" for row in rows),
        "over_budget": sum(row["verdict"] == "OVER BUDGET" for row in rows),
        "caution": CAUTION,
    }


def _row(pairing: Pairing, one: Observed) -> dict[str, Any]:
    bound = None if one.bound is None else one.bound.us
    budget = budget_us(pairing, one.path.name)
    age_bound = None if one.age_bound is None else one.age_bound.us
    worst = Fraction(max(one.reactions), 1000) if one.reactions else None
    oldest = Fraction(max(one.ages), 1000) if one.ages else None
    return {
        "way": one.path.name,
        "kind": one.path.kind.value,
        "functions": list(one.path.functions),
        "bound_ms": _ms(bound),
        "parts": []
        if one.bound is None
        else [{"what": part.what, "ms": _ms(part.us)} for part in one.bound.parts],
        "own_ms": one.own * pairing.spec.tick_ms,
        "observed": _samples(one.reactions),
        "tightness": None if worst is None or not bound else round(float(worst / bound), 3),
        "histogram": _histogram(one.reactions, bound),
        "age_bound_ms": _ms(age_bound),
        "age_observed": _samples(one.ages),
        "budget_ms": _ms(None if budget is None else Fraction(budget)),
        "verdict": _verdict(bound, worst, age_bound, oldest, budget),
        "not_observed": "" if one.reactions else one.reason or "no trial showed it",
    }


def _verdict(
    bound: Fraction | None,
    worst: Fraction | None,
    age_bound: Fraction | None,
    oldest: Fraction | None,
    budget: int | None,
) -> str:
    if bound is not None and worst is not None and worst > bound:
        return "EXCEEDED"
    if age_bound is not None and oldest is not None and oldest > age_bound:
        return "EXCEEDED"
    if budget is not None and (bound is None or bound > budget):
        return "OVER BUDGET"
    if bound is None:
        return "NO BOUND"
    return "in budget" if budget is not None else "bound"


def _samples(ns: Sequence[int]) -> dict[str, float] | None:
    if not ns:
        return None
    ordered = sorted(ns)
    return {
        "count": len(ordered),
        "minimum_ms": ordered[0] / 1e6,
        "median_ms": statistics.median(ordered) / 1e6,
        "p99_9_ms": ordered[min(len(ordered) - 1, len(ordered) * 999 // 1000)] / 1e6,
        "maximum_ms": ordered[-1] / 1e6,
    }


def _histogram(ns: Sequence[int], bound: Fraction | None) -> list[int]:
    """Return counts of BINS equal bins from 0 to the bound."""
    counts = [0] * BINS
    if not bound:
        return counts
    for one in ns:
        counts[min(BINS - 1, int(one * BINS / (bound * 1000)))] += 1
    return counts


def _ms(us: Fraction | None) -> float | None:
    return None if us is None else round(float(us / 1000), 4)


def print_facts(told: dict[str, Any]) -> None:
    """Print the facts as one line a way; colours only where the terminal wants them."""
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = 170
    console.print(f"{escape(told['pairing'])}, digest {told['digest'][:16]}, times in ms")
    table = Table(title="ways through the bridge", title_justify="left")
    table.add_column("way", overflow="fold")
    columns = ("bound", "least", "median", "99.9 %", "most", "count", "most/bound", "own")
    for column in (*columns, "age bound", "oldest", "budget"):
        table.add_column(column, justify="right")
    table.add_column("verdict")
    for row in told["ways"]:
        seen, ages = row["observed"], row["age_observed"]
        table.add_row(
            escape(row["way"]),
            _number(row["bound_ms"]),
            *(
                _number(seen[key] if seen else None)
                for key in ("minimum_ms", "median_ms", "p99_9_ms", "maximum_ms")
            ),
            str(seen["count"]) if seen else "0",
            "-" if row["tightness"] is None else f"{100 * row['tightness']:.0f} %",
            str(row["own_ms"]) if row["own_ms"] else "-",
            _number(row["age_bound_ms"]),
            _number(ages["maximum_ms"] if ages else None),
            _number(row["budget_ms"]),
            row["verdict"],
        )
    console.print(table)
    for row in told["ways"]:
        if row["not_observed"]:
            console.print(escape(f"not seen: {row['way']}: {row['not_observed']}"))
    for line in told["definitions"]:
        console.print(escape(line))
    for line in summary(told):
        console.print(escape(line))


def summary(told: dict[str, Any]) -> list[str]:
    """Return the sentences at the end."""
    ways, seen = len(told["ways"]), told["observed"]
    return [
        (
            f"{ways} ways, {seen} observed, {told['tight']} of them to 80 % of the bound or more, "
            f"{told['exceeded']} above it; {told['over_budget']} over budget"
        ),
        told["caution"],
    ]


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"
