"""The table on a terminal: the overview, what needs a look, and the sentences at the end."""

from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape as plain
from rich.table import Table

from tools.failsafe.folding import COLUMNS, overview
from tools.failsafe.report import HEADINGS, LOOKS, UNSIGNED, by_output, cells, summary
from tools.failsafe.rows import Row
from xlate_core.pairing.model import Pairing


def print_table(pairing: Pairing, rows: Sequence[Row], signed: str = UNSIGNED) -> None:
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
    lines = [line for lines in by_output(rows).values() for line in lines]
    looks = [line for line in lines if line.status in LOOKS]
    table = Table(title="deviating, undetected and open lines")
    short = ("output", "line", "fault", "of", "situations", "required", "seen", "status")
    for heading in short:
        table.add_column(heading, overflow="fold")
    for line in looks:
        told = dict(zip(HEADINGS, cells(line, {}), strict=True))
        table.add_row(plain(line.output), *(plain(told[heading]) for heading in short[1:]))
    console.print(table)
    for line_text in summary(rows):
        console.print(plain(line_text))
