"""`xlate pairing options`: the options of a pairing, their choices and pairs, what proves each."""

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from tools.timing.budgets import load_with_budgets
from xlate_core.pairing import PairingError, load
from xlate_core.pairing.options import MARK, choices, joined, read_options, split
from xlate_core.pairing.overlays import keys_of


@dataclass(frozen=True, slots=True)
class Choice:
    """One choice of options: its resolved view's digest, or the problems that stand against it."""

    names: tuple[str, ...]
    digest: str
    problems: tuple[str, ...]


def judged(folder: Path, *, alone: bool = False) -> Iterator[Choice]:
    """Yield no option, each option and each pair, loaded; with `alone` the folder as given."""
    base, given = split(folder)
    wanted = [given] if alone or given else choices(read_options(base))
    for names in wanted:
        try:
            yield Choice(names, load_with_budgets(joined(base, names)).digest, ())
        except PairingError as error:
            yield Choice(names, "", tuple(map(str, error.problems)))


def facts(folder: Path, vectors: Path) -> dict[str, Any]:
    """Return options and choices with the number of vectors that prove each."""
    base, _ = split(folder)
    options = read_options(base)
    name = load(base).name
    proven = Counter(path.parent.name for path in vectors.glob(f"{name}*/*.vector*"))
    return {
        "pairing": name,
        "options": [
            {
                "name": one.name,
                "group": one.head.group,
                "order": one.head.order,
                "description": one.head.description,
                "needs": list(one.head.needs),
                "overrides": list(one.head.overrides),
                "keys": keys_of(one),
            }
            for one in options.values()
        ],
        "choices": [
            {
                "name": MARK.join((name, *one.names)),
                "digest": one.digest,
                "problems": list(one.problems),
                "vectors": proven[MARK.join((name, *one.names))],
            }
            for one in judged(base)
        ],
    }


def show(told: dict[str, Any]) -> None:
    """Print the options and the choices."""
    for one in told["options"]:
        click.echo(f"{one['name']} ({one['group']}): {one['description']}")
        for key in ("needs", "overrides"):
            if one[key]:
                click.echo(f"  {key} {', '.join(one[key])}")
        for key in one["keys"]:
            click.echo(f"  {key}")
    if not told["options"]:
        click.echo(f"{told['pairing']}: no options (no folder options with *.toml files)")
    click.echo()
    for one in told["choices"]:
        state = f"digest {one['digest'][:16]}" if one["digest"] else "conflict"
        click.echo(f"{one['name']}: {state}, {one['vectors']} vectors")
        for problem in one["problems"]:
            click.echo(f"  {problem}")


def options(folder: Path, as_json: bool, vectors: Path) -> bool:
    """Tell the options of a pairing; return whether every choice is good and has a vector."""
    told = facts(folder, vectors)
    if as_json:
        click.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        show(told)
    return all(one["digest"] and one["vectors"] for one in told["choices"])
