"""The budgets of a pairing, `[traffic.budget_us]`, beside the ways they are meant for."""

import fnmatch
from pathlib import Path

from tools.timing.paths import nearest_way, paths
from xlate_core.pairing import Pairing, Problem, load


def load_with_budgets(folder: Path) -> Pairing:
    """Return a pairing each of whose budgets fits a way; else PairingError with every problem."""
    pairing = load(folder)
    pairing.refuse(problems_of(pairing))
    return pairing


def problems_of(pairing: Pairing) -> list[Problem]:
    """Return a problem for each budget that no way of the pairing fits."""
    patterns = [pattern for pattern, _ in pairing.traffic.budgets]
    names = [one.name for one in paths(pairing)] if patterns else []
    return [
        pairing.problem(
            ("traffic", "budget_us", pattern),
            "no way that fits",
            "the name of a way, as `xlate timing paths` tells them, or a pattern with *",
            nearest_way(pattern, names),
        )
        for pattern in patterns
        if not any(fnmatch.fnmatchcase(name, pattern) for name in names)
    ]


def budget_us(pairing: Pairing, name: str) -> int | None:
    """Return the budget of a way: the tightest of the patterns that fit."""
    fitting = [us for pattern, us in pairing.traffic.budgets if fnmatch.fnmatchcase(name, pattern)]
    return min(fitting, default=None)
