"""`xlate log sleep`: when the buses fall silent, and who wakes whom."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.log_options import FILE, load_table, reading_options

if TYPE_CHECKING:
    from tools.logs.importing import ImportOptions


@click.command("sleep")
@click.argument("logs", metavar="LOG...", type=FILE, nargs=-1, required=True)
@click.option(
    "--silent-ms", type=click.IntRange(10, 86_400_000), default=2000, show_default=True,
    help="A bus without a frame for so long is silent.",
)  # fmt: skip
@reading_options
@click.option("--json", "as_json", is_flag=True, help="Print the pauses as JSON.")
def sleep_command(
    logs: tuple[Path, ...],
    silent_ms: int,
    options: "ImportOptions",
    as_json: bool,
) -> None:
    """Tell the pauses of every bus of LOG: last frames, first frames, and which bus woke first."""
    from tools.logs.importing import seconds
    from tools.logs.sleeping import sleep

    table = load_table(logs, options)
    found = sleep(table, silent_ms * 1000)
    if as_json:
        facts = {
            "silences": [asdict(silence) for silence in found.silences],
            "longest_awake_us": found.longest_awake_us,
        }
        click.echo(json.dumps(facts, indent=1))
        return
    start = int(table.time_us[0])
    for silence in found.silences:
        begin = seconds(silence.begins_us - start)
        click.echo(f"{silence.bus}: silent from {begin} s, last spoke {' '.join(silence.last)}")
        if silence.ends_us is None:
            click.echo("  to the end of the log")
            continue
        pause = seconds(silence.ends_us - silence.begins_us)
        click.echo(
            f"  to {seconds(silence.ends_us - start)} s ({pause} s), first spoke "
            f"{' '.join(silence.first)}"
        )
        if silence.woken_by:
            delay = silence.delay_us / 1000
            click.echo(f"  {silence.woken_by} spoke {delay:.3f} ms before: it may have woken it")
        else:
            click.echo("  no other bus spoke before: woken by itself, a pin or a tester")
    if not found.silences:
        click.echo(f"no bus was silent for {silent_ms} ms")
    for bus, longest in found.longest_awake_us.items():
        click.echo(f"{bus}: longest pause while awake {longest / 1000:.3f} ms")
