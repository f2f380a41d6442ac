"""`xlate failsafe prove`: a vector for every line of a built table, run on boards."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.failsafe_shared import (
    EXIT_BENCH,
    EXIT_DIFFERENCE,
    EXIT_INCOMPLETE,
    folder_of,
    out_option,
    pairing_argument,
    progress,
    required_of,
    required_option,
    write_table,
)
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.failsafe.evidence import Proof
    from tools.failsafe.stored import Stored
    from xlate_core.pairing.model import Pairing


@click.command("prove")
@pairing_argument
@required_option
@out_option
@click.option(
    "--board",
    "boards",
    multiple=True,
    default=("reference", "native"),
    show_default=True,
    help="Board to run the vectors on; may be given several times.",
)
@click.option(
    "--every-class", is_flag=True, help="A vector for each class of faults in each line; many more."
)
@click.option(
    "--broken/--no-broken",
    default=True,
    show_default=True,
    help="Run them on broken copies of the firmware's core, too (needs a C compiler).",
)
def prove(
    pairing: Path,
    required_file: Path | None,
    out: Path | None,
    boards: tuple[str, ...],
    every_class: bool,
    broken: bool,
) -> None:
    """Write a vector for every line of the built table and run it on boards.

    Exit code 1 when a board or the table says otherwise, 3 when the bench fails, 4 when
    interrupted.
    """
    import json
    from dataclasses import asdict

    from hil.boards.interface import BoardError
    from hil.boards.registry import check_name
    from hil.vectors.files import write_whole
    from tools.failsafe.stored import EVIDENCE_FILE, read

    for name in boards:
        check_name(name)
    loaded, path, required = required_of(pairing, required_file)
    folder = folder_of(out, loaded.name)
    stored = read(folder)
    if (stored.pairing_digest, stored.required_digest) != (loaded.digest, required.digest):
        raise InputError(
            f"{folder.as_posix()}: built of another pairing or other requirements; build it again"
        )
    try:
        proofs = _proofs(pairing, path, loaded, stored, folder, boards, every_class)
        if broken:
            proofs = _on_broken_copies(loaded, folder, proofs)
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    except KeyboardInterrupt:
        click.echo("interrupted: no evidence is written", err=True)
        sys.exit(EXIT_INCOMPLETE)
    told = {"format": 1, "proofs": [asdict(proof) for proof in proofs]}
    text = json.dumps(told, indent=1, ensure_ascii=False) + "\n"
    write_whole(folder / EVIDENCE_FILE, text.encode("utf-8"))
    write_table(folder, loaded, required, stored.rows, stored.lines)
    lines = len({line for proof in proofs for line in proof.lines})
    click.echo(
        f"{len(proofs)} vectors show {lines} of {len(stored.lines)} lines; the others are of "
        f"faults the bench cannot make; run on {', '.join(boards)}"
    )
    click.echo(f"the table, for a browser or a printer: {(folder / 'table.html').as_posix()}")
    if any(set(proof.boards.values()) != {"pass"} or proof.differs for proof in proofs):
        sys.exit(EXIT_DIFFERENCE)


def _proofs(
    pairing: Path,
    path: Path,
    loaded: "Pairing",
    stored: "Stored",
    folder: Path,
    boards: tuple[str, ...],
    every_class: bool,
) -> "list[Proof]":
    """Write the vectors and run them; print what differs."""
    from hil.boards.options import BoardOptions
    from hil.boards.registry import close_board, open_board
    from tools.failsafe.evidence import prove as prove_lines
    from tools.failsafe.sharing import builder

    opened = {}
    proofs = []
    try:
        for name in boards:
            opened[name] = open_board(name, loaded, BoardOptions())
        found = prove_lines(
            builder(pairing, path),
            stored.lines,
            stored.rows,
            folder / "vectors",
            opened,
            lambda done, total: progress(done, total, "vectors"),
            every_class,
        )
        for proof in found:
            proofs.append(proof)
            for board, verdict in proof.boards.items():
                if verdict != "pass":
                    click.echo(f"{verdict.upper()} on {board}: {proof.fault}; {proof.situation}")
            for output in proof.differs:
                click.echo(f"DIFFERS from the table: {output}: {proof.fault}; {proof.situation}")
    finally:
        for board_opened in opened.values():
            close_board(board_opened)
    return proofs


def _on_broken_copies(loaded: "Pairing", folder: Path, proofs: "list[Proof]") -> "list[Proof]":
    """Return the proofs with the broken copies they see; print which nobody sees."""
    from dataclasses import replace

    from hil.firmware.toolchains import NoCompilerError
    from hil.vectors.names import names_of
    from tools.failsafe.broken_copies import try_copies

    vectors = [folder / "vectors" / proof.vector for proof in proofs]
    try:
        seen = try_copies(
            loaded,
            names_of(loaded),
            vectors,
            lambda done, total: progress(done, total, "broken copies"),
        )
    except NoCompilerError as error:
        click.echo(f"broken copies not run: {error}", err=True)
        return proofs
    proofs = [replace(proof, broken=seen[proof.vector]) for proof in proofs]
    tried = list(dict.fromkeys(words for proof in proofs for words in proof.broken))
    blind = [words for words in tried if not any(proof.broken[words] for proof in proofs)]
    click.echo(f"{len(tried) - len(blind)} of {len(tried)} broken copies of the core are seen")
    if blind:
        click.echo(f"not seen, or nothing of it in this pairing: {', '.join(blind)}")
    return proofs
