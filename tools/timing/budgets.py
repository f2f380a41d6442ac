"""The budgets of a pairing, `[traffic.budget_us]`, beside the ways they are meant for."""

import difflib
import fnmatch
from pathlib import Path

from tools.timing.paths import paths
from xlate_core.pairing import Pairing, PairingError, Problem, load
from xlate_core.pairing.options import split


def load_with_budgets(folder: Path) -> Pairing:
    """Return a pairing each of whose budgets fits a way; else PairingError with every problem."""
    pairing = load(folder)
    problems = problems_of(pairing)
    if problems:
        raise PairingError(problems, split(pairing.directory)[0])
    return pairing


def problems_of(pairing: Pairing) -> list[Problem]:
    """Return a problem for each budget that no way of the pairing fits."""
    budgets = pairing.traffic.budgets
    names = [one.name for one in paths(pairing)] if budgets else []
    return [
        Problem(
            budget.file,
            budget.line,
            budget.key_path,
            "no way that fits",
            "the name of a way, as `xlate timing paths` tells them, or a pattern with *",
            nearest_way(budget.pattern, names),
        )
        for budget in budgets
        if not any(fnmatch.fnmatchcase(name, budget.pattern) for name in names)
    ]


def nearest_way(pattern: str, names: list[str]) -> str | None:
    """Return the name of a way that looks most like a pattern; None where there is no way."""
    return next(iter(difflib.get_close_matches(pattern, names, n=1, cutoff=0.0)), None)


def budget_us(pairing: Pairing, name: str) -> int | None:
    """Return the budget of a way: the tightest of the patterns that fit."""
    fitting = [
        budget.us for budget in pairing.traffic.budgets if fnmatch.fnmatchcase(name, budget.pattern)
    ]
    return min(fitting, default=None)
