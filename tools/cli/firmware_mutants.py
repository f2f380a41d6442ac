"""`xlate firmware mutants`: machine-made faults in the C core, and how many the corpus catches."""

import json
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.interrupted import leave
from tools.cli.outputs import OUT_FILE

if TYPE_CHECKING:
    from hil.mutation.survey import Survey

EXIT_DIFFERENCE, EXIT_BENCH = 1, 3
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
FLOOR_TENTHS = 950
TOLD_EVERY = 10  # mutants judged, where no line can be written over


@click.command("mutants")
@click.option("--count", type=click.IntRange(1), default=500, show_default=True)
@click.option(
    "--seed", type=int, default=1, show_default=True, help="Which mutants, and in which order."
)
@click.option(
    "--first-mutant",
    type=click.IntRange(0),
    default=0,
    show_default=True,
    help="Begin there in that order: what an interrupted command did is left out.",
)
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True)
@click.option("--json", "json_file", type=OUT_FILE, help="Also write as JSON.")
def command(count: int, seed: int, first_mutant: int, jobs: int, json_file: Path | None) -> None:
    """Break the C core in COUNT places and run every pairing's corpus on each.

    A mutant the compiler refuses, or makes the same program of, does not count. A hang is no catch.
    Exit code 1 when less than 95 % are caught, 3 without compiler or mutation tool, 4 when
    interrupted: then the figures are those so far, and --json writes nothing.
    """
    from hil.boards.interface import BoardError
    from hil.mutation.making import make
    from hil.mutation.survey import Survey, reasons, survey
    from hil.mutation.trial import prepare
    from hil.runner import Pairings
    from hil.vectors.files import write_whole
    from xlate_core.pairing import load

    folder = FIXTURES / "pairings"
    pairings = Pairings(folder, load, {})
    found = Survey()

    def seen(so_far: Survey) -> None:
        nonlocal found
        found = so_far
        if sys.stderr.isatty() or found.judged % TOLD_EVERY == 0:
            told(f"{found.judged}/{count} judged, {found.killed} caught")

    with tempfile.TemporaryDirectory(prefix="xlate-mutants-") as place:
        try:
            names = sorted(path.parent.name for path in folder.glob("*/bridge.toml"))
            told("building the unbroken cores")
            ranges = [
                prepare(
                    load(folder / name), FIXTURES / "vectors" / name, pairings, Path(place, name)
                )
                for name in names
                if (FIXTURES / "vectors" / name).is_dir()
            ]
            told("making mutants")
            mutants = make(seed)
            found = survey(mutants[first_mutant:], ranges, count, Path(place), jobs, seen)
        except BoardError as error:
            click.echo(str(error), err=True)
            sys.exit(EXIT_BENCH)
        except KeyboardInterrupt:
            show(found)
            leave(
                f"{found.judged} of {count} mutants",
                *("firmware", "mutants", "--seed", seed, "--jobs", jobs),
                *("--count", count - found.judged, "--first-mutant", first_mutant + found.taken),
            )
    click.echo(f"\r{len(mutants)} mutants of the core made, seed {seed}", err=True)
    show(found)
    if json_file is not None:
        write_whole(json_file, (json.dumps(plain(found), indent=2) + "\n").encode("utf-8"))
    if found.percent_tenths(found.equivalent(reasons())) < FLOOR_TENTHS:
        sys.exit(EXIT_DIFFERENCE)


def told(text: str) -> None:
    """Show progress on standard error, one line over the other on a terminal."""
    end = "\r" if sys.stderr.isatty() else "\n"
    click.echo(f"{text:<60}{end}", err=True, nl=False)


def show(found: "Survey") -> None:
    """Print the figures, then the survivors, those without a written reason first."""
    from hil.mutation.survey import reasons

    known = reasons()
    equivalent = found.equivalent(known)
    tenths = found.percent_tenths(equivalent)
    fates = ", ".join(f"{count} {fate}" for fate, count in sorted(found.counts.items()))
    click.echo(
        f"{found.killed} of {found.judged - equivalent} caught: {tenths // 10}.{tenths % 10} % "
        f"({fates or 'none judged'}; {equivalent} survivors do the same)"
    )
    for mutant, fate in found.alive:
        why = known.get((mutant.file, mutant.right, mutant.wrong))
        click.echo(f"{fate}: {mutant.file}:{mutant.line}")
        click.echo(
            f"  - {mutant.right}\n  + {mutant.wrong}\n  {why.why if why else 'NO REASON WRITTEN'}"
        )


def plain(found: "Survey") -> dict[str, object]:
    """Return the survey as JSON holds it."""
    return {
        "judged": found.judged,
        "caught": found.killed,
        "fates": {fate.value: count for fate, count in sorted(found.counts.items())},
        "alive": [
            {
                "file": mutant.file,
                "line": mutant.line,
                "right": mutant.right,
                "wrong": mutant.wrong,
                "fate": fate.value,
            }
            for mutant, fate in found.alive
        ],
    }
