"""`xlate failsafe`: the failsafe behaviour table."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.failsafe_sign import compare, sign

if TYPE_CHECKING:
    from tools.failsafe.required import Required
    from tools.failsafe.rows import Row
    from xlate_core.pairing.model import Pairing

EXIT_DIFFERENCE = 1
EXIT_BENCH = 3
EXIT_INCOMPLETE = 4
ROOT = Path(__file__).resolve().parents[2]
TABLES = ROOT / "fixtures" / "tables"


@click.group("failsafe")
def command() -> None:
    """What each output must do for every fault, and what it was seen to do."""


command.add_command(compare)
command.add_command(sign)


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
@click.option("--brief", is_flag=True, help="Print the summary only.")
def build(
    pairing: Path, required_file: Path | None, out: Path | None, jobs: int | None, brief: bool
) -> None:
    """Try every fault in every situation on PAIRING and hold it to the requirements.

    Exit code 1 when a row deviates or is open, 4 when interrupted.
    """
    from tools.failsafe.names import TableNames
    from tools.failsafe.report import print_table, summary
    from tools.failsafe.required import load_required
    from tools.failsafe.sharing import build_rows
    from tools.failsafe.stored import EVIDENCE_FILE
    from xlate_core.pairing import load

    loaded = load(pairing)
    path = required_file or TABLES / loaded.name / "required.toml"
    required = load_required(path, TableNames(loaded))
    try:
        rows = build_rows(pairing, path, required, jobs, _progress)
    except KeyboardInterrupt:
        click.echo("interrupted: nothing is written", err=True)
        sys.exit(EXIT_INCOMPLETE)
    folder = out or Path("failsafe_out") / loaded.name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / EVIDENCE_FILE).unlink(missing_ok=True)
    signed = _write(folder, loaded, required, rows)
    if brief:
        for line in summary(rows):
            click.echo(line)
    else:
        print_table(loaded, rows, signed)
    click.echo((folder / "table.html").as_posix())
    if any(row.status in ("deviates", "open") for row in rows):
        sys.exit(EXIT_DIFFERENCE)


@command.command("prove")
@click.argument("pairing", type=click.Path(path_type=Path))
@click.option("--required", "required_file", type=click.Path(path_type=Path), default=None)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder of the built table; default failsafe_out/PAIRING.",
)
@click.option(
    "--board",
    "boards",
    multiple=True,
    default=("reference", "native"),
    show_default=True,
    help="Board to run the vectors on; may be given several times.",
)
def prove(
    pairing: Path, required_file: Path | None, out: Path | None, boards: tuple[str, ...]
) -> None:
    """Write a vector for every line of the built table and run it on boards.

    Exit code 1 when a board or the table says otherwise, 3 when the bench fails, 4 when
    interrupted.
    """
    import json
    from dataclasses import asdict

    from hil.boards.interface import BoardError
    from hil.boards.options import BoardOptions
    from hil.boards.registry import check_name, close_board, open_board
    from hil.vectors.files import write_whole
    from tools.failsafe.evidence import prove as prove_lines
    from tools.failsafe.names import TableNames
    from tools.failsafe.required import load_required
    from tools.failsafe.sharing import builder
    from tools.failsafe.stored import EVIDENCE_FILE, read
    from xlate_core.errors import InputError
    from xlate_core.pairing import load

    for name in boards:
        check_name(name)
    loaded = load(pairing)
    path = required_file or TABLES / loaded.name / "required.toml"
    required = load_required(path, TableNames(loaded))
    folder = out or Path("failsafe_out") / loaded.name
    stored = read(folder)
    if (stored.pairing_digest, stored.required_digest) != (loaded.digest, required.digest):
        raise InputError(
            f"{folder.as_posix()}: built of another pairing or other requirements; build it again"
        )
    opened = {}
    proofs = []
    try:
        for name in boards:
            opened[name] = open_board(name, loaded, BoardOptions())
        vectors = folder / "vectors"
        found = prove_lines(
            builder(pairing, path), stored.lines, stored.rows, vectors, opened, _counted
        )
        for proof in found:
            proofs.append(proof)
            for board, verdict in proof.boards.items():
                if verdict != "pass":
                    click.echo(f"{verdict.upper()} on {board}: {proof.fault}; {proof.situation}")
            for output in proof.differs:
                click.echo(f"DIFFERS from the table: {output}: {proof.fault}; {proof.situation}")
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    except KeyboardInterrupt:
        click.echo("interrupted: no evidence is written", err=True)
        sys.exit(EXIT_INCOMPLETE)
    finally:
        for board_opened in opened.values():
            close_board(board_opened)
    told = {"format": 1, "proofs": [asdict(proof) for proof in proofs]}
    text = json.dumps(told, indent=1, ensure_ascii=False) + "\n"
    write_whole(folder / EVIDENCE_FILE, text.encode("utf-8"))
    _write(folder, loaded, required, stored.rows)
    lines = sum(len(proof.lines) for proof in proofs)
    click.echo(
        f"{len(proofs)} vectors show {lines} of {len(stored.lines)} lines; the others are of "
        f"faults the bench cannot make; run on {', '.join(boards)}"
    )
    click.echo((folder / "table.html").as_posix())
    if any(set(proof.boards.values()) != {"pass"} or proof.differs for proof in proofs):
        sys.exit(EXIT_DIFFERENCE)


@command.command("exhaust")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def exhaust(as_json: bool) -> None:
    """Visit every reachable state of a pairing with timers of at most 3 ticks.

    The required states hold in each of them, or the shortest way to the first one in which they do
    not is printed (exit code 1).
    """
    import json

    from tools.failsafe.exhausting import explore, words

    found = explore()
    click.echo(json.dumps(found.facts(), indent=1) if as_json else "\n".join(words(found)))
    if found.broken:
        sys.exit(EXIT_DIFFERENCE)


def _write(folder: Path, loaded: "Pairing", required: "Required", rows: "list[Row]") -> str:
    """Write the table in all its forms; return how far it is signed."""
    from hil.vectors.files import write_whole
    from tools.failsafe import signing
    from tools.failsafe.folding import fold
    from tools.failsafe.report import facts, to_csv, to_html, to_json, to_markdown
    from tools.failsafe.stored import Stored, evidence_of, evidence_words

    proofs = evidence_of(folder)
    evidence = evidence_words(proofs)
    stored = Stored(loaded.name, loaded.digest, required.digest, rows, fold(rows))
    signatures = signing.read(required.path.parent / signing.FILE)
    signed = signing.words(stored, signatures, proofs)
    for name, text in (
        ("table.json", to_json(facts(loaded, required, rows, signed))),
        ("table.csv", to_csv(rows)),
        ("table.md", to_markdown(loaded, required, rows, evidence, signed)),
        ("table.html", to_html(loaded, required, rows, evidence, signed)),
    ):
        write_whole(folder / name, text.encode("utf-8"))
    return signed


def _counted(done: int, total: int) -> None:
    _progress(done, total, "vectors")


def _progress(done: int, total: int, what: str) -> None:
    """Keep one line of progress on a terminal."""
    if sys.stderr.isatty():
        click.echo(f"\r{done}/{total} {what}"[:100].ljust(100), nl=False, err=True)
        if done >= total:
            click.echo(err=True)
