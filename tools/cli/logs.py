"""`xlate log replay`: what a bridge makes of recorded bus traffic."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.table import Table

    from tools.logs.replay import Summary

FILE = click.Path(path_type=Path)
_REASONS = ("ignored", "rejected", "events")
CAUTION = (
    "A bench result is no approval: road use needs the checks of local regulations and a licensed "
    "or accredited person."
)


@click.command("replay")
@click.argument("pairing_folder", metavar="PAIRING", type=FILE)
@click.argument("log", metavar="LOG", type=FILE)
@click.option(
    "--channel",
    "channels",
    metavar="NAME=BUS",
    multiple=True,
    help="Bus of a channel: body, engine or ignore. Channels named as a bus need no option; "
    'logs without channels have one named "none". May be given several times.',
)
@click.option(
    "--input",
    "inputs",
    metavar="PIN=VALUE",
    multiple=True,
    help="Input pin for the whole replay: a switch is active or inactive (default inactive), an "
    "analogue input has counts 0..65535 (default 0). May be given several times.",
)
@click.option(
    "--supply-mv",
    type=click.IntRange(0, 100_000),
    default=12_000,
    show_default=True,
    help="Supply voltage in mV.",
)
@click.option(
    "--tail-ms",
    type=click.IntRange(0, 86_400_000),
    default=1000,
    show_default=True,
    help="How long to run on after the last frame.",
)
@click.option("--sort", is_flag=True, help="Put frames in order whose times run backward.")
@click.option(
    "--longest-gap-s",
    type=click.IntRange(1, 10_000_000),
    default=3600,
    show_default=True,
    help="Longest believable pause between two frames.",
)
@click.option(
    "--out",
    "frames_file",
    type=FILE,
    help="Write the sent frames: .log is candump text, other extensions as python-can writes them.",
)
@click.option(
    "--csv", "csv_file", type=FILE, help="Write the signals of accepted and sent frames as CSV."
)
@click.option("--events", "events_file", type=FILE, help="Write the events as JSON lines.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
@click.option("--plain", is_flag=True, help="Run the readable reference, not its fast form.")
def replay_command(
    pairing_folder: Path,
    log: Path,
    channels: tuple[str, ...],
    inputs: tuple[str, ...],
    supply_mv: int,
    tail_ms: int,
    sort: bool,
    longest_gap_s: int,
    frames_file: Path | None,
    csv_file: Path | None,
    events_file: Path | None,
    as_json: bool,
    plain: bool,
) -> None:
    """Run LOG through the bridge of PAIRING, tick by tick, and tell what happened.

    LOG is any log python-can reads (.log, .asc, .blf, .trc, .csv, .db, .mf4; most also as
    .gz). A frame at time t after the first one is received before tick
    ceil(t / tick). Sent frames have the time of their tick. Nothing is written when the replay
    fails.
    """
    from tools.logs.decoding import Decoder
    from tools.logs.reading import Reading, ReadingOptions, parse_channels
    from tools.logs.replay import parse_inputs, replay
    from tools.logs.writing import Results, check_targets
    from xlate_core.pairing import load

    options = ReadingOptions(parse_channels(channels), sort, longest_gap_s)
    check_targets(log, (frames_file, csv_file, events_file))
    reading = Reading(log, options)
    pairing = load(pairing_folder)
    given = parse_inputs(pairing, inputs, supply_mv)
    results = Results(Decoder(pairing), pairing.spec.tick_ms, frames_file, csv_file, events_file)
    with results:
        summary = replay(pairing, reading, given, tail_ms, results, plain)
    notes = [
        f"no frame came from channel {channel}"
        for channel in (option.rpartition("=")[0] for option in channels)
        if not reading.channels[channel]
    ]
    notes += results.notes
    facts = describe(summary, pairing.spec.tick_ms)
    facts |= {
        "pairing": pairing.name,
        "log": log.name,
        "supply_mv": supply_mv,
        "inputs": list(inputs),
        "written": [str(path) for path in results.written],
        "notes": notes,
        "caution": CAUTION,
    }
    if as_json:
        click.echo(json.dumps(facts, indent=2))
    else:
        print_summary(facts)


def describe(summary: "Summary", tick_ms: int) -> dict[str, Any]:
    """Return the summary as plain data for JSON."""
    from tools.logs.writing import show_time

    return {
        "ticks": summary.ticks,
        "tick_ms": tick_ms,
        "time_s": show_time(summary.ticks, tick_ms),
        "frames_read": dict(summary.read),
        "ignored": summary.ignored,
        "accepted": dict(summary.accepted),
        "rejected": dict(sorted(summary.rejected.items())),
        "sent": dict(sorted(summary.sent.items())),
        "events": dict(sorted(summary.events.items())),
    }


def print_summary(facts: dict[str, Any]) -> None:
    """Print the summary for people."""
    from rich.console import Console

    console = Console(highlight=False)
    console.print(
        f"{facts['log']} through {facts['pairing']}: {facts['ticks']} ticks, {facts['time_s']} s",
        markup=False,
    )
    console.print(_table(facts))
    for path in facts["written"]:
        console.print(f"written: {path}", markup=False, soft_wrap=True)
    if not facts["written"]:
        console.print("nothing written; --out, --csv and --events name files", markup=False)
    for note in facts["notes"]:
        console.print(f"note: {note}", markup=False, soft_wrap=True)
    console.print(facts["caution"], markup=False)


def _table(facts: dict[str, Any]) -> "Table":
    from rich.table import Table

    table = Table()
    table.add_column("frames")
    table.add_column("which")
    table.add_column("count", justify="right")
    sections = (
        ("read", facts["frames_read"]),
        ("ignored", facts["ignored"]),
        ("accepted", facts["accepted"]),
        ("rejected", facts["rejected"]),
        ("sent", facts["sent"]),
        ("events", facts["events"]),
    )
    for title, counts in sections:
        for number, (name, count) in enumerate((counts or {"none": 0}).items()):
            shown = name.replace("_", " ") if title in _REASONS else name
            table.add_row("" if number else title, shown, str(count))
        table.add_section()
    return table
