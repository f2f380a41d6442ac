"""`xlate speed`: the speed of the reference, its figures side by side; never a verdict."""

import platform
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.outputs import OUT_FILE, OUT_FOLDER

if TYPE_CHECKING:
    from tools.speed.rows import Measured

SCENARIOS = Path(__file__).resolve().parents[2] / "fixtures" / "scenarios"
SHORT_DRIVE_S = 120
SHORT_PACED_S = 20
SHORT_ENGINE_S = 20
SHORT_CODEC_S = 0.2
SHORT_REPEATS = 3
STORE_S = {True: 60, False: 600}
LOG_S = {True: 60, False: 600}
LARGER_S = {True: 10, False: 60}


@click.command("speed")
@click.option(
    "--short", is_flag=True, help="Measure each thing for a short time; the hour is worked out."
)
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
    "--keep",
    "folder",
    type=OUT_FOLDER,
    default=Path("build") / "speed",
    show_default=True,
    help="Folder of the figures and pictures; the figures found there are the previous ones.",
)
@click.option("--json", "json_file", type=OUT_FILE, help="Also write the figures as JSON.")
def command(
    short: bool,
    drive_s: int,
    engine_s: int,
    repeats: int,
    codec_s: float,
    scenarios: Path | None,
    paced_s: int,
    vectors: Path | None,
    folder: Path,
    json_file: Path | None,
) -> None:
    """Measure decode, encode, engine, logs, the board native, a paced line and whole commands.

    Floors and the previous figures are printed beside the figures, and one picture a group is
    drawn. Figures depend on the machine: the exit code is 0 whether or not floors are met.
    """
    from hil import runner
    from hil.vectors import corpus
    from hil.vectors.files import write_whole
    from tools.speed import (
        analysis,
        codec,
        commands,
        emulated,
        engine,
        hour,
        kept,
        larger,
        link,
        logs,
        machine,
    )
    from tools.speed.rows import Measured

    runner.find_vectors((), vectors or link.VECTORS)  # an empty folder is told before the work
    corpus.find_scenarios((), scenarios or SCENARIOS)
    previous = kept.previous_figures(folder / kept.FIGURES)
    measured = Measured()
    if short:
        engine_s, repeats = min(engine_s, SHORT_ENGINE_S), min(repeats, SHORT_REPEATS)
        codec_s, drive_s = min(codec_s, SHORT_CODEC_S), min(drive_s, SHORT_DRIVE_S)
        paced_s = min(paced_s, SHORT_PACED_S)
    said("decode and encode")
    codec.measure(measured, codec_s)
    engine.measure(measured, engine_s, repeats, said)
    larger.measure(measured, min(LARGER_S[short], engine_s), repeats, said)
    analysis.measure(measured, repeats, said)
    link.measure(measured, vectors or link.VECTORS, paced_s, repeats, said)
    emulated.measure(measured, vectors or link.VECTORS, said)
    logs.measure(measured, min(LOG_S[short], drive_s), repeats, said)
    hour.measure(measured, min(STORE_S[short], drive_s), said)
    stored = (engine_s, min(STORE_S[short], drive_s))
    machine.measure(measured, stored, repeats, codec_s, said)
    commands.measure_drive(measured, drive_s, said)
    commands.measure_edit(measured, scenarios or SCENARIOS, said)
    print_figures(measured, previous)
    kept.keep(folder, measured, previous)
    click.echo(f"figures and pictures: {folder}", err=True)
    if json_file is not None:
        write_whole(json_file, kept.as_json(measured, previous))


def said(text: str) -> None:
    """Tell on standard error what is being measured."""
    click.echo(f"measuring {text} ...", err=True)


def print_figures(measured: "Measured", previous: dict[str, float] | None = None) -> None:
    """Print every row beside its previous figure, then in words what was compared."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    longest = max((len(row.what) for row in measured.rows), default=0)
    table.add_column("what", no_wrap=True, min_width=longest)
    table.add_column("median", justify="right", no_wrap=True)
    if previous:
        table.add_column("previous", justify="right", no_wrap=True)
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
        cells = [row.what, value, ratio, floor, verdict]
        if previous:
            before = previous.get(row.key)
            cells.insert(2, "" if before is None else f"{before:.2f}")
        table.add_row(*cells)
    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.width = max(console.width, longest + 75)  # figures are never cut
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
