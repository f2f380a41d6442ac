"""`xlate board soak`: drawn pairings and random traffic, engine and board side by side."""

import sys
import time
from pathlib import Path

import click

from hil.verdicts import EXIT_BENCH, EXIT_INPUT, EXIT_MISMATCH
from tools.cli.interrupted import leave
from tools.cli.outputs import OUT_FOLDER
from xlate_core.errors import InputError


@click.command("soak")
@click.option("--seed", type=int, default=1, show_default=True, help="First seed.")
@click.option(
    "--minutes", type=click.FloatRange(0.01), default=None, help="Stop after so long; default 1."
)
@click.option("--million-ticks", type=click.FloatRange(0.001), default=None, help="Or so many.")
@click.option(
    "--keep",
    type=OUT_FOLDER,
    default=Path("soak_differences"),
    show_default=True,
    help="Folder for what differs: pairing and reduced scenario.",
)
def command(seed: int, minutes: float | None, million_ticks: float | None, keep: Path) -> None:
    """Compare the reference, its fast form and the C core on pairings drawn from SEED on.

    Every pairing runs ordinary, disturbed and hostile traffic. Exit code: 0 no difference, 1 a
    difference, 3 no compiler, 4 interrupted.
    """
    from hil.boards.interface import BoardError
    from hil.soak.running import STYLES, rounds

    began = time.monotonic()
    longest = (1.0 if minutes is None and million_ticks is None else minutes) or None
    ticks = count = differences = 0
    last = following = seed
    try:
        for one in rounds(seed, keep):
            ticks += one.ticks
            count += 1
            last = one.seed
            following = one.seed + (one.style == STYLES[-1])
            if one.difference:
                differences += 1
                click.echo(f"difference: {one.difference}")
                for path in one.kept:
                    click.echo(f"  kept {path.as_posix()}")
            passed = time.monotonic() - began
            if sys.stderr.isatty():
                click.echo(f"\r{ticks} ticks, seed {last}, {passed:.0f} s ", nl=False, err=True)
            if longest is not None and passed >= 60 * longest:
                break
            if million_ticks is not None and ticks >= 1_000_000 * million_ticks:
                break
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    except InputError as error:
        click.echo(f"after seed {last}: {error}", err=True)
        _sum_up(ticks, count, seed, last, differences)
        sys.exit(EXIT_INPUT)
    except KeyboardInterrupt:
        _sum_up(ticks, count, seed, last, differences)
        left: tuple[object, ...] = ()
        if longest is not None:
            left += ("--minutes", round(max(longest - (time.monotonic() - began) / 60, 0.01), 2))
        if million_ticks is not None:
            left += ("--million-ticks", round(max(million_ticks - ticks / 1_000_000, 0.001), 3))
        leave(f"{count} rounds", "board", "soak", "--seed", following, *left, "--keep", keep)
    _sum_up(ticks, count, seed, last, differences)
    if differences:
        sys.exit(EXIT_MISMATCH)


def _sum_up(ticks: int, rounds: int, first: int, last: int, differences: int) -> None:
    click.echo(
        f"{ticks} ticks in {rounds} rounds, seeds {first} to {last}: "
        f"{differences or 'no'} difference{'s' if differences > 1 else ''}"
    )
