"""What the commands of the failsafe table share: where tables lie, options, how one is written."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from tools.failsafe.folding import Line
    from tools.failsafe.required import Required
    from tools.failsafe.rows import Row
    from xlate_core.pairing.model import Pairing

EXIT_DIFFERENCE = 1
EXIT_BENCH = 3
EXIT_INCOMPLETE = 4
TABLES = Path(__file__).resolve().parents[2] / "fixtures" / "tables"

pairing_argument = click.argument("pairing", type=click.Path(path_type=Path))
required_option = click.option(
    "--required",
    "required_file",
    type=click.Path(path_type=Path),
    default=None,
    help="What a person requires; default fixtures/tables/PAIRING/required.toml.",
)
out_option = click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder of the built table; default failsafe_out/PAIRING.",
)


def folder_of(out: Path | None, pairing: str) -> Path:
    """Return the folder of a built table."""
    return out or Path("failsafe_out") / pairing


def required_of(pairing: Path, required_file: Path | None) -> "tuple[Pairing, Path, Required]":
    """Return the loaded pairing, the path of what a person requires of it, and that, checked."""
    from tools.failsafe.names import TableNames
    from tools.failsafe.required import FILE, load_required
    from xlate_core.pairing import load

    loaded = load(pairing)
    path = required_file or TABLES / loaded.name / FILE
    return loaded, path, load_required(path, TableNames(loaded))


def write_table(
    folder: Path, loaded: "Pairing", required: "Required", rows: "list[Row]", lines: "list[Line]"
) -> str:
    """Write the table, rows and folded lines, in all its forms; return how far it is signed."""
    from hil.vectors.files import write_whole
    from tools.failsafe import signing
    from tools.failsafe.pages import Page, to_html, to_markdown
    from tools.failsafe.report import facts, to_csv, to_json
    from tools.failsafe.stored import Stored, broken_counts, evidence_of, evidence_words

    proofs = evidence_of(folder)
    stored = Stored(loaded.name, loaded.digest, required.digest, rows, lines)
    signatures = signing.read(required.path.parent / signing.FILE)
    signed = signing.words(stored, signatures, proofs)
    page = Page(
        loaded, required, rows, lines, evidence_words(proofs), broken_counts(proofs), signed
    )
    for name, text in (
        ("table.json", to_json(facts(loaded, required, rows, lines, signed))),
        ("table.csv", to_csv(rows)),
        ("table.md", to_markdown(page)),
        ("table.html", to_html(page)),
    ):
        write_whole(folder / name, text.encode("utf-8"))
    return signed


def progress(done: int, total: int, what: str) -> None:
    """Keep one line of progress on a terminal."""
    if sys.stderr.isatty():
        click.echo(f"\r{done}/{total} {what}"[:100].ljust(100), nl=False, err=True)
        if done >= total:
            click.echo(err=True)
