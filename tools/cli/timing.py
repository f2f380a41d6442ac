"""`xlate timing`: how long things take, at worst."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from tools.cli.outputs import OUT_FILE, OUT_FOLDER
from tools.cli.vectors_shared import jobs_option, plain_option

EXIT_DIFFERENCE = 1
EXIT_INCOMPLETE = 4


def assumptions(command: Any) -> Any:
    """Add the options of what is assumed for once in place of the traffic tables."""
    for option in reversed(
        (
            click.option("--errors", type=int, help="Disturbed frames at once on each bus."),
            click.option(
                "--error-interval-us", type=int, help="One more disturbed frame so often."
            ),
            click.option("--skew-ppm", type=int, help="Error of every clock, at most 10000 (1 %)."),
        )
    ):
        command = option(command)
    return command


@click.group("timing")
def command() -> None:
    """Worst-case times on both buses and through the bridge."""


@command.command("bus")
@click.argument("pairing", type=click.Path(path_type=Path))
@click.option(
    "--bit-rate", type=(str, int), multiple=True, metavar="BUS BIT/S", help="Try another bit rate."
)
@assumptions
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def bus(
    pairing: Path,
    bit_rate: tuple[tuple[str, int], ...],
    errors: int | None,
    error_interval_us: int | None,
    skew_ppm: int | None,
    as_json: bool,
) -> None:
    """Worst-case response time of every message on both buses of PAIRING.

    Exit code 1 when a deadline can be missed.
    """
    from hil.vectors.errors import nearest
    from tools.timing.assumptions import Assumed
    from tools.timing.bus_report import facts, print_facts
    from tools.timing.streams import bus_timings
    from xlate_core.errors import InputError
    from xlate_core.frames import BUS_NAMES
    from xlate_core.pairing import load
    from xlate_core.pairing.schema import BIT_RATES

    for name, rate in bit_rate:
        if name not in BUS_NAMES:
            near = nearest(name, BUS_NAMES)
            raise InputError(f"--bit-rate: found {name}, expected {' or '.join(BUS_NAMES)}{near}")
        if not BIT_RATES[0] <= rate <= BIT_RATES[1]:
            limits = f"{BIT_RATES[0]} to {BIT_RATES[1]} bit/s"
            raise InputError(f"--bit-rate {name}: found {rate}, expected {limits}")
    loaded = Assumed(errors, error_interval_us, skew_ppm).of(load(pairing))
    timings = bus_timings(loaded, dict(bit_rate), skewed=skew_ppm is not None)
    told = facts(loaded, timings)
    if as_json:
        click.echo(json.dumps(told, indent=2))
    else:
        print_facts(told)
    if not told["all_met"]:
        sys.exit(EXIT_DIFFERENCE)


@command.command("paths")
@click.argument("pairing", type=click.Path(path_type=Path))
@click.option(
    "--samples",
    default=40,
    show_default=True,
    type=click.IntRange(0),
    help="Random trials.",
)
@click.option("--seed", default=1, show_default=True, type=int, help="Seed of the random trials.")
@click.option("--only", default="*", show_default=True, help="Ways to look at: a pattern with *.")
@assumptions
@plain_option
@jobs_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--html", metavar="FILE", type=OUT_FILE, help="Write a page.")
@click.option(
    "--keep",
    default=Path("timing_exceeded"),
    show_default=True,
    type=OUT_FOLDER,
    help="Folder for vectors of trials beyond their bound.",
)
def paths(
    pairing: Path,
    samples: int,
    seed: int,
    only: str,
    errors: int | None,
    error_interval_us: int | None,
    skew_ppm: int | None,
    plain: bool,
    jobs: int | None,
    as_json: bool,
    html: Path | None,
    keep: Path,
) -> None:
    """Bound, observation and budget of every way through PAIRING.

    Exit code 1 when a bound is above its budget or was exceeded, 4 when interrupted.
    """
    from hil import parallel
    from hil.vectors.files import write_whole
    from tools.timing.assumptions import Assumed
    from tools.timing.budgets import load_with_budgets
    from tools.timing.counterexample import save
    from tools.timing.observation import observe
    from tools.timing.path_page import page
    from tools.timing.path_report import facts, print_facts
    from tools.timing.paths import fitting
    from tools.timing.streams import refuse_gaps

    loaded = Assumed(errors, error_interval_us, skew_ppm).of(load_with_budgets(pairing))
    refuse_gaps(loaded, {})
    chosen = fitting(loaded, only)
    processes = jobs or parallel.default_jobs()
    wanted = chosen.__contains__
    try:
        seen = list(observe(loaded, samples, seed, _progress, wanted, processes, plain))
    except KeyboardInterrupt:
        click.echo("interrupted: nothing is judged", err=True)
        sys.exit(EXIT_INCOMPLETE)
    told = facts(loaded, seen, samples, seed)
    for number, (row, one) in enumerate(zip(told["ways"], seen, strict=True)):
        if row["verdict"] == "EXCEEDED" and one.worst is not None:
            row["vector"] = save(loaded, one, f"exceeded_{number}", keep).as_posix()
            click.echo(f"{one.path.name}: beyond its bound, kept as {row['vector']}", err=True)
    if html is not None:
        write_whole(html, page(told).encode("utf-8"))
        click.echo(html.as_posix(), err=True)
    if as_json:
        click.echo(json.dumps(told, indent=2))
    else:
        print_facts(told)
    if told["exceeded"] or told["over_budget"]:
        sys.exit(EXIT_DIFFERENCE)


def _progress(done: int, total: int, source: str) -> None:
    """Keep one line of progress on a terminal."""
    if sys.stderr.isatty():
        text = f"{done}/{total} {source}"[:78]
        end = "" if done < total else "\n"
        click.echo(f"\r{text:<78}", nl=False, err=True)
        click.echo(end, nl=False, err=True)
