"""The smallest pairing and what is required of it, for the tests of the failsafe table."""

from pathlib import Path

from tools.failsafe.build import Builder
from tools.failsafe.names import TableNames
from tools.failsafe.required import load_required
from tools.failsafe.rows import Row
from xlate_core.pairing import load

ROOT = Path(__file__).resolve().parents[2]
MINIMAL = ROOT / "fixtures" / "pairings" / "minimal"
REQUIRED = ROOT / "fixtures" / "tables" / "minimal" / "required.toml"


def builder_of(text: str, folder: Path) -> Builder:
    """Return the builder for a required.toml of this text."""
    path = folder / "required.toml"
    path.write_text(text, encoding="utf-8", newline="\n")
    names = TableNames(load(MINIMAL))
    return Builder(names, load_required(path, names))


def rows_of(builder: Builder, *kinds: str, power: str = "running") -> list[Row]:
    """Return the rows of some classes of faults in the situations of one power mode."""
    return [
        row
        for situation in builder.required.situations
        if dict(situation)["power"] == power
        for row in builder.rows_in(
            situation, [one for one in builder.faults_in(situation) if one.kind in kinds]
        )
    ]


def row(rows: list[Row], output: str, kind: str, engine: str = "warm") -> Row:
    """Return one row."""
    (found,) = (
        one
        for one in rows
        if one.output == output and one.kind == kind and dict(one.situation)["engine"] == engine
    )
    return found
