"""What the commands of `xlate vectors` share: options, paths, errors, progress."""

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from hil.verdicts import EXIT_INPUT
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from hil.runner import Pairings

ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"

Item = TypeVar("Item")
PATH = click.Path(path_type=Path)

pairings_option = click.option(
    "--pairings",
    type=PATH,
    default=None,
    help="Folder with the pairings; default fixtures/pairings.",
)
vectors_option = click.option(
    "--vectors",
    "folder",
    type=PATH,
    default=None,
    help="Folder of the vectors; default fixtures/vectors.",
)


jobs_option = click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    default=None,
    help="Processes to share the work over; default one a processor.",
)


plain_option = click.option(
    "--plain", is_flag=True, help="Run the readable reference, not its fast form."
)


@contextmanager
def input_errors() -> Iterator[None]:
    """Turn what a person did wrong into one message on standard error and exit code 2."""
    try:
        yield
    except InputError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_INPUT)


def shown(path: Path) -> Path:
    """Return a path as a person in the current folder writes it."""
    try:
        return path.resolve().relative_to(Path.cwd())
    except ValueError:
        return path


def new_pairings(folder: Path | None) -> "Pairings":
    """Return the loader of pairings out of a folder."""
    from hil.runner import Pairings
    from xlate_core.pairing import load

    return Pairings(folder or shown(FIXTURES / "pairings"), load, {})


def progress(items: Iterable[Item], total: int) -> Iterator[Item]:
    """Yield the items with a progress bar on a terminal, quietly elsewhere."""
    if not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(
        items, description="vectors", total=total, console=Console(stderr=True), transient=True
    )
