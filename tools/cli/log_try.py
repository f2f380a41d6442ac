"""`xlate log try-inspect`: how often the guesses of `inspect` are right, on invented networks."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.cli.interrupted import leave
from tools.cli.log_options import FILE, progress_bar, write_text

if TYPE_CHECKING:
    from tools.logs.inspection.trial import Trial

CALIBRATION_SEED = 1_000_000


@click.command("try-inspect")
@click.option("--networks", type=click.IntRange(1, 10_000), default=20, show_default=True)
@click.option("--seed", type=click.IntRange(0, 900_000), default=1, show_default=True)
@click.option("--seconds", type=click.IntRange(10, 36_000), default=60, show_default=True)
@click.option("--messages", type=click.IntRange(1, 200), default=24, show_default=True)
@click.option(
    "--calibrate",
    "calibration",
    type=FILE,
    help="Make the table of confidences anew from other seeds and write it to this file.",
)
@click.option("--wrong", "show_wrong", is_flag=True, help="List every wrong guess.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def try_command(
    networks: int,
    seed: int,
    seconds: int,
    messages: int,
    calibration: Path | None,
    show_wrong: bool,
    as_json: bool,
) -> None:
    """Measure precision and recall of every sort of guess on random invented networks.

    Each network is driven for --seconds, its log inspected, and every guess compared with what the
    network really sends. Precision is the share of right guesses; recall the share of what is sent
    that was found. With --calibrate the same is done on seeds that no trial uses. Exit code 4 when
    interrupted: the figures are those so far, a calibration is not written.
    """
    first = seed + CALIBRATION_SEED if calibration is not None else seed
    trial, interrupted = tried(range(first, first + networks), seconds, messages)
    if interrupted and calibration is not None:
        leave(
            f"{trial.networks} of {networks} networks, nothing written",
            *("log", "try-inspect", "--calibrate", calibration, "--networks", networks),
            *("--seed", seed, "--seconds", seconds, "--messages", messages),
        )
    if calibration is not None:
        write_text(calibration, calibration_text(trial, first, networks, seconds, messages))
        click.echo(f"written: {calibration}")
        return
    facts = describe(trial, seed)
    if as_json:
        click.echo(json.dumps(facts, indent=2))
    else:
        print_trial(facts)
        for sentence in trial.wrong if show_wrong else ():
            click.echo(f"wrong: {sentence}")
    if interrupted:
        done = trial.networks
        leave(
            f"{done} of {networks} networks",
            *("log", "try-inspect", "--networks", networks - done, "--seed", seed + done),
            *("--seconds", seconds, "--messages", messages),
        )


def tried(seeds: range, seconds: int, messages: int) -> tuple["Trial", bool]:
    """Return the trial of some seeds, and whether Ctrl-C ended it before the last."""
    from tools.logs.inspection.trial import Trial, run_trial

    trial = Trial()
    with progress_bar("trying") as show:

        def seen(so_far: Trial) -> None:
            nonlocal trial
            trial = so_far
            if show is not None:
                show(trial.networks, len(seeds))

        try:
            run_trial(seeds, seconds, messages, seen)
        except KeyboardInterrupt:
            return trial, True
    return trial, False


def calibration_text(trial: "Trial", seed: int, networks: int, seconds: int, messages: int) -> str:
    """Return the table of confidences as JSON."""
    from tools.logs.inspection.confidence import fitted_by_sort

    steps = fitted_by_sort(
        (what, doubt, score, right)
        for what, tally in trial.tallies.items()
        for doubt, score, right in zip(tally.doubts, tally.scores, tally.right, strict=True)
    )
    made = {"seed": seed, "networks": networks, "seconds": seconds, "messages": messages}
    return json.dumps({"made_from": made, "steps": dict(sorted(steps.items()))}, indent=1) + "\n"


def describe(trial: "Trial", seed: int) -> dict[str, Any]:
    """Return the figures of a trial as plain data."""
    from tools.logs.inspection.trial import JUDGED, SURE

    sorts = {}
    for what in JUDGED:
        tally = trial.tallies[what]
        sorts[what.value] = {
            "guesses": len(tally.right),
            "precision": tally.precision(),
            "sure_guesses": sum(1 for confidence in tally.confidences if confidence >= SURE),
            "sure_precision": tally.precision(SURE),
            "truths": tally.truths,
            "recall": tally.recall(),
        }
    bands = {}
    for low, high in ((1, 24), (25, 54), (55, 84), (85, 95), (96, 99)):
        right, count = trial.marked(low, high)
        bands[f"{low}-{high}"] = {"guesses": count, "right": right / count if count else None}
    return {
        "networks": trial.networks,
        "first_seed": seed,
        "frames": trial.frames,
        "sorts": sorts,
        "confidence": bands,
    }


def print_trial(facts: dict[str, Any]) -> None:
    """Print the figures for people."""
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    table = Table()
    for title in ("guess", "made", "right", "sure (90 % up)", "right", "sent", "found"):
        table.add_column(title, justify="left" if title == "guess" else "right")
    for what, row in facts["sorts"].items():
        table.add_row(
            what,
            str(row["guesses"]),
            _percent(row["precision"]),
            str(row["sure_guesses"]),
            _percent(row["sure_precision"]),
            str(row["truths"] or "-"),
            _percent(row["recall"]),
        )
    console.print(
        f"{facts['networks']} invented networks from seed {facts['first_seed']}, "
        f"{facts['frames']} frames"
    )
    console.print(table)
    marked = Table()
    for title in ("marked with", "guesses", "right"):
        marked.add_column(title, justify="right")
    for band, row in facts["confidence"].items():
        marked.add_row(f"{band} %", str(row["guesses"]), _percent(row["right"]))
    console.print(marked)


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{share:.1%}"
