"""`xlate speed`: the speed of the reference, its figures side by side; never a verdict."""

import json
import platform
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from tools.speed.rows import Measured

SCENARIOS = Path(__file__).resolve().parents[2] / "fixtures" / "scenarios"
SHORT_DRIVE_S = 120
SHORT_PACED_S = 20


@click.command("speed")
@click.option("--short", is_flag=True, help="Run 2 minutes of driving and work out the hour.")
@click.option(
    "--drive-s",
    type=click.IntRange(2, 86_400),
    default=3600,
    show_default=True,
    help="Length of the drive for `vectors run`; from other lengths an hour is worked out.",
)
@click.option(
    "--engine-s",
    type=click.IntRange(1, 3600),
    default=60,
    show_default=True,
    help="Length of the drive for the engine alone.",
)
@click.option(
    "--repeats",
    type=click.IntRange(1, 100),
    default=5,
    show_default=True,
    help="How often the engine is measured; the median counts.",
)
@click.option(
    "--codec-s",
    type=click.FloatRange(0.001, 60),
    default=1.0,
    show_default=True,
    help="Time given to each benchmark of decode and encode.",
)
@click.option(
    "--scenarios",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    default=None,
    help="Folder of the corpus for edit to verdict; default fixtures/scenarios.",
)
@click.option(
    "--paced-s",
    type=click.IntRange(1, 3600),
    default=60,
    show_default=True,
    help="Length of the drive that the paced line carries.",
)
@click.option(
    "--vectors",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    default=None,
    help="Folder of the vectors for the native board; default fixtures/vectors.",
)
@click.option(
    "--json", "json_file", type=click.Path(path_type=Path), help="Also write the figures as JSON."
)
def command(
    short: bool,
    drive_s: int,
    engine_s: int,
    repeats: int,
    codec_s: float,
    scenarios: Path | None,
    paced_s: int,
    vectors: Path | None,
    json_file: Path | None,
) -> None:
    """Measure decode, encode, engine, the board native, a paced line and whole commands.

    Floors are printed beside the figures. They depend on the machine, so the exit code is 0 whether
    or not they are met.
    """
    from hil.vectors.files import write_whole
    from tools.speed import codec, commands, emulated, engine, link
    from tools.speed.rows import Measured
    from xlate_core.errors import InputError

    if json_file is not None and (json_file.is_dir() or not json_file.parent.is_dir()):
        raise InputError(f"{json_file}: expected the name of a file in a folder that exists")
    measured = Measured()
    drive = SHORT_DRIVE_S if short else drive_s
    said("decode and encode")
    codec.measure(measured, codec_s)
    engine.measure(measured, engine_s, repeats, said)
    paced = min(paced_s, SHORT_PACED_S) if short else paced_s
    link.measure(measured, vectors or link.VECTORS, paced, repeats, said)
    emulated.measure(measured, vectors or link.VECTORS, said)
    commands.measure_drive(measured, drive, said)
    commands.measure_edit(measured, scenarios or SCENARIOS, said)
    print_figures(measured)
    if json_file is not None:
        facts = {
            "python": platform.python_version(),
            "machine": platform.machine(),
            "rows": [row.plain() for row in measured.rows],
            "compared": measured.compared,
        }
        write_whole(json_file, (json.dumps(facts, indent=2) + "\n").encode("utf-8"))


def said(text: str) -> None:
    """Tell on standard error what is being measured."""
    click.echo(f"measuring {text} ...", err=True)


def print_figures(measured: "Measured") -> None:
    """Print every row, then in words what was compared."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    longest = max((len(row.what) for row in measured.rows), default=0)
    table.add_column("what", no_wrap=True, min_width=longest)
    table.add_column("median", justify="right", no_wrap=True)
    table.add_column("ratio", justify="right", no_wrap=True, min_width=5)
    table.add_column("floor", no_wrap=True)
    table.add_column("", no_wrap=True, min_width=7)
    group = ""
    for row in measured.rows:
        if row.what.split(":")[0] != group:
            table.add_section()
            group = row.what.split(":")[0]
        value = "not measured" if row.value is None else f"{row.value:.2f} {row.unit}"
        ratio = "" if row.ratio is None else f"{row.ratio:.2f}"
        floor = "" if row.floor is None else row.floor.words
        verdict = {None: "", True: "met", False: "NOT MET"}[row.met]
        table.add_row(row.what, value, ratio, floor, verdict)
    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.width = max(console.width, longest + 60)  # figures are never cut
    console.print(table)
    for row in measured.rows:
        if row.note:
            console.print(f"{row.what}: {row.note}")
    for line in measured.compared:
        console.print(line)
    console.print(
        f"ratio: by the engine's figure. Python {platform.python_version()}, {platform.machine()}; "
        "processor time unless said otherwise. Figures are no part of pass or fail."
    )
