"""The table on a terminal: the overview, what needs a look, and the sentences at the end."""

from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape as plain
from rich.table import Table

from tools.failsafe.folding import COLUMNS, Line, overview
from tools.failsafe.report import LOOK_HEADINGS, UNSIGNED, looks, summary
from tools.failsafe.rows import Row
from xlate_core.pairing.model import Pairing


def print_table(
    pairing: Pairing, rows: Sequence[Row], lines: Sequence[Line], signed: str = UNSIGNED
) -> None:
    """Print the overview and what needs a look; colours only where the terminal wants them."""
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = 200
    console.print(f"{plain(pairing.name)}, digest {pairing.digest[:16]}, {plain(signed)}")
    table = Table(title="output and kind of fault: required state, then what is no pass")
    for heading in ("output", *COLUMNS):
        table.add_column(heading, overflow="fold")
    for output, columns in overview(rows):
        table.add_row(plain(output), *(plain(columns[column]) for column in COLUMNS))
    console.print(table)
    table = Table(title="deviating, undetected and open lines")
    for heading in LOOK_HEADINGS:
        table.add_column(heading, overflow="fold")
    for told in looks(lines):
        table.add_row(*map(plain, told))
    console.print(table)
    for sentence in summary(rows, lines):
        console.print(plain(sentence))
