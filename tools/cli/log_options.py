"""What the commands of `xlate log` share: options that say how to read, progress, output."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xlate_core.errors import InputError, reason_of

if TYPE_CHECKING:
    from tools.logs.importing import Importing, ImportOptions
    from tools.logs.table import FrameTable

FILE = click.Path(path_type=Path)
CAUTION = (
    "A guess from a log is no fact, and a bench result is no approval: road use needs the checks "
    "of local regulations and a licensed or accredited person. Work on a raised, unpowered vehicle "
    "with pump and starter disarmed until the bench vectors pass."
)

LARGEST_TABLE = 40_000_000


def reading_options(function: Callable[..., None]) -> Callable[..., None]:
    """Add the options that say how logs are read; the command gets them as one, `options`."""

    @wraps(function)
    def command(
        channels: tuple[str, ...],
        offsets: tuple[str, ...],
        sort: bool,
        skip_damaged: bool,
        longest_gap_s: int,
        **others: Any,
    ) -> None:
        options = parse_options(channels, offsets, sort, skip_damaged, longest_gap_s)
        function(options=options, **others)

    for option in reversed(
        (
            click.option(
                "--channel",
                "channels",
                metavar="[FILE:]NAME=BUS",
                multiple=True,
                help="Name the bus of a channel, or `ignore` it. Channels keep their names "
                "otherwise. May be given several times.",
            ),
            click.option(
                "--offset",
                "offsets",
                metavar="FILE=SECONDS",
                multiple=True,
                help="Move the times of one log, to bring logs of different clocks together.",
            ),
            click.option(
                "--sort", is_flag=True, help="Put frames in order whose times run backward."
            ),
            click.option(
                "--skip-damaged",
                is_flag=True,
                help="Count damaged candump lines, do not stop at them.",
            ),
            click.option(
                "--longest-gap-s",
                type=click.IntRange(1, 10_000_000),
                default=3600,
                show_default=True,
                help="Longest believable pause between two frames.",
            ),
        )
    ):
        command = option(command)
    return command


def parse_options(
    channels: tuple[str, ...],
    offsets: tuple[str, ...],
    sort: bool,
    skip_damaged: bool,
    longest_gap_s: int,
) -> "ImportOptions":
    """Return the reading options; raises InputError naming the option that cannot be used."""
    from tools.logs.importing import ImportOptions

    names: dict[str, str] = {}
    for option in channels:
        channel, equals, name = option.rpartition("=")
        if not equals or not channel or not name:
            raise InputError(f"--channel {option}: expected NAME=BUS, for instance can0=engine")
        names[channel] = name
    moved: dict[str, int] = {}
    for option in offsets:
        file, equals, text = option.rpartition("=")
        try:
            moved[Path(file).name] = round(float(text) * 1_000_000)
        except (ValueError, OverflowError):
            equals = ""
        if not equals or not file:
            raise InputError(f"--offset {option}: expected FILE=SECONDS, for instance b.log=-3600")
    return ImportOptions(names, moved, sort, skip_damaged, longest_gap_s)


def load_table(paths: tuple[Path, ...], options: "ImportOptions") -> "FrameTable":
    """Return logs in memory; a log beyond what memory should hold is refused with the way out."""
    from tools.logs.importing import Importing, named
    from tools.logs.table import joined

    importing = Importing(paths, options)
    tables = []
    rows = 0
    with progress_bar("reading") as show:
        for table in importing.tables(show):
            rows += len(table)
            tables.append(table)
            if rows > LARGEST_TABLE:
                raise InputError(
                    f"{paths[0]}: has more than {LARGEST_TABLE} frames; import it and `export` the "
                    "part to look at with --from-s and --to-s"
                )
    tell_unmet(importing)
    return named(joined(tables), importing.channels)


def tell_unmet(importing: "Importing") -> None:
    """Say which channels were named in vain: a misspelt one keeps its own name."""
    for channel in importing.unmet():
        click.echo(f"note: no frame came from channel {channel}", err=True)


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show progress on a terminal's error output; None when nobody would see it."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=None)

        def show(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total)

        yield show


def write_text(path: Path, text: str) -> None:
    """Write a text file through a temporary one; raises InputError."""
    from tools.logs.writing import NewFile

    new = NewFile(path)
    try:
        new.temporary.write_text(text, encoding="utf-8")
        new.commit()
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({reason_of(error)})") from None
    finally:
        new.discard()
