"""`xlate log find-input`: which bit is the button that was pressed."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.log_options import CAUTION, FILE, load_table, reading_options
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.logs.importing import ImportOptions


@click.command("find-input")
@click.argument("logs", metavar="LOG...", type=FILE, nargs=-1, required=True)
@click.option("--at", "moments", type=float, multiple=True, help="A moment, seconds from start.")
@click.option(
    "--pin",
    "pin",
    metavar="FILE.csv:COLUMN",
    help="Moments are the rises of this column; the first column is seconds from start.",
)
@click.option(
    "--before-ms", type=click.IntRange(0, 60_000), default=300, show_default=True,
    help="How much earlier than noted a change may come.",
)  # fmt: skip
@click.option(
    "--after-ms", type=click.IntRange(1, 60_000), default=700, show_default=True,
    help="How much later than noted a change may come.",
)  # fmt: skip
@reading_options
@click.option("--json", "as_json", is_flag=True, help="Print the candidates as JSON.")
def find_input_command(
    logs: tuple[Path, ...],
    moments: tuple[float, ...],
    pin: str | None,
    before_ms: int,
    after_ms: int,
    options: "ImportOptions",
    as_json: bool,
) -> None:
    """Press the button five times, note when, and find its bit in LOG.

    Every candidate is told with the odds that so many coincidences come by chance among all the
    bits of the log that ever change.
    """
    import numpy as np

    from tools.logs.finding_inputs import LIKELY, find, moments_from_column

    if (pin is None) == (not moments):
        raise InputError("say when: --at SECONDS several times, or --pin FILE.csv:COLUMN")
    table = load_table(logs, options)
    start = int(table.time_us[0])
    if pin is not None:
        file, colon, column = pin.rpartition(":")
        if not colon:
            raise InputError(f"--pin {pin}: expected FILE.csv:COLUMN")
        times = moments_from_column(Path(file), column, start)
    else:
        times = np.sort(np.array([round(each * 1_000_000) for each in moments], np.int64)) + start
    candidates = find(table, times, before_ms * 1000, after_ms * 1000)
    likely = [each for each in candidates if each.chance < LIKELY][:20]
    if as_json:
        facts = {"moments": len(times), "candidates": [asdict(each) for each in likely]}
        click.echo(json.dumps({**facts, "caution": CAUTION}, indent=1))
        return
    click.echo(
        f"{len(times)} moments, {len(candidates)} rises and falls came near at least one of them"
    )
    for each in likely:
        odds = f"1 in {1 / each.chance:.3g}" if each.chance > 0 else "none to speak of"
        edge = "rises" if each.rises else "falls"
        click.echo(
            f"{each.bus} {each.identifier} bit {each.bit} (octet {each.bit // 8}, bit "
            f"{each.bit % 8}): {edge} at {each.moments} of {each.of} moments, usually "
            f"{each.delay_ms:+.0f} ms from them, {each.elsewhere} times elsewhere; odds of "
            f"chance {odds}"
        )
    if not likely:
        click.echo("no bit coincides better than chance would; note more moments, or look wider")
    click.echo(CAUTION)
