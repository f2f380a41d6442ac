"""`xlate failsafe`: the failsafe behaviour table."""

import sys
from pathlib import Path

import click

EXIT_DIFFERENCE = 1
EXIT_INCOMPLETE = 4
ROOT = Path(__file__).resolve().parents[2]


@click.group("failsafe")
def command() -> None:
    """What each output must do for every fault, and what it was seen to do."""


@command.command("build")
@click.argument("pairing", type=click.Path(path_type=Path))
@click.option(
    "--required",
    "required_file",
    type=click.Path(path_type=Path),
    default=None,
    help="What a person requires; default fixtures/tables/PAIRING/required.toml.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder for table.json, .csv, .md and .html; default failsafe_out/PAIRING.",
)
@click.option("--jobs", type=click.IntRange(1, 64), default=None, help="Processes; default all.")
def build(pairing: Path, required_file: Path | None, out: Path | None, jobs: int | None) -> None:
    """Try every fault in every situation on PAIRING and hold it to the requirements.

    Exit code 1 when a row deviates or is open, 4 when interrupted.
    """
    from hil.vectors.files import write_whole
    from tools.failsafe.names import TableNames
    from tools.failsafe.report import facts, print_table, to_csv, to_html, to_json, to_markdown
    from tools.failsafe.required import load_required
    from tools.failsafe.sharing import build_rows
    from xlate_core.pairing import load

    loaded = load(pairing)
    path = required_file or ROOT / "fixtures" / "tables" / loaded.name / "required.toml"
    required = load_required(path, TableNames(loaded))
    try:
        rows = build_rows(pairing, path, required, jobs, _progress)
    except KeyboardInterrupt:
        click.echo("interrupted: nothing is written", err=True)
        sys.exit(EXIT_INCOMPLETE)
    folder = out or Path("failsafe_out") / loaded.name
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (
        ("table.json", to_json(facts(loaded, required, rows))),
        ("table.csv", to_csv(rows)),
        ("table.md", to_markdown(loaded, required, rows)),
        ("table.html", to_html(loaded, required, rows)),
    ):
        write_whole(folder / name, text.encode("utf-8"))
    print_table(loaded, rows)
    click.echo((folder / "table.html").as_posix())
    if any(row.status in ("deviates", "open") for row in rows):
        sys.exit(EXIT_DIFFERENCE)


def _progress(done: int, total: int, what: str) -> None:
    """Keep one line of progress on a terminal."""
    if sys.stderr.isatty():
        click.echo(f"\r{done}/{total} {what}"[:100].ljust(100), nl=False, err=True)
        if done >= total:
            click.echo(err=True)
