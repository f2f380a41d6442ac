"""`xlate pairing`: check, show, compare and start pairings, and the schema of bridge.toml."""

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.main import EXIT_DIFFERENCE, EXIT_INPUT
from xlate_core.errors import InputError, reason_of

if TYPE_CHECKING:
    from xlate_core.pairing import Pairing

ROOT = Path(__file__).resolve().parent.parent.parent
VECTORS = ROOT / "fixtures" / "vectors"
SCHEMA = ROOT / "fixtures" / "schemas" / "bridge.schema.json"
OPTION_SCHEMA = ROOT / "fixtures" / "schemas" / "option.schema.json"

directory = click.Path(path_type=Path)


@click.group()
def command() -> None:
    """Pairings: one car with one engine controller, a folder with bridge.toml and two DBC files."""


@command.command()
@click.argument("directories", nargs=-1, required=True, type=directory, metavar="DIR...")
def check(directories: tuple[Path, ...]) -> None:
    """Say every problem of the pairings in one run, or one line of approval each.

    Of a pairing with options every option and every pair is checked as well; DIR+OPTION is one
    choice.
    """
    from tools.cli.pairing_options import judged
    from tools.timing.budgets import load_with_budgets
    from xlate_core.pairing import PairingError
    from xlate_core.pairing.options import joined, split

    bad = False
    for folder in directories:
        base, _ = split(folder)
        try:
            pairing = load_with_budgets(folder)
            others = [] if pairing.options else list(judged(folder))[1:]
        except PairingError as error:
            bad = True
            _tell_problems(folder, base, tuple(map(str, error.problems)))
            continue
        click.echo(_approval(folder, pairing))
        for note in pairing.notes:
            click.echo(f"  note: {note}")
        for choice in others:
            bad = bad or bool(choice.problems)
            name = joined(folder, choice.names)
            if choice.problems:
                _tell_problems(name, base, choice.problems)
            else:
                click.echo(f"  {name.name}: good, digest {choice.digest[:16]}")
    if bad:
        raise click.exceptions.Exit(EXIT_INPUT)


def _tell_problems(folder: Path, base: Path, problems: tuple[str, ...]) -> None:
    for problem in problems:
        click.echo(f"{base.as_posix()}/{problem}", err=True)
    count = len(problems)
    click.echo(f"{folder.as_posix()}: {count} problem{'s' * (count != 1)}", err=True)


def _approval(folder: Path, pairing: "Pairing") -> str:
    spec = pairing.spec
    received = sum(1 for message in spec.messages if message.units)
    counts = (
        f"{received} received, {len(spec.transmits)} sent, {len(spec.routes)} routed, "
        f"{len(spec.quantities)} quantities, {len(spec.functions)} functions"
    )
    return f"{folder.as_posix()}: good, {counts}, digest {pairing.digest[:16]}"


@command.command()
@click.argument("folder", type=directory, metavar="DIR")
@click.option("--option", "names", multiple=True, metavar="NAME", help="Choose an option.")
@click.option("--json", "as_json", is_flag=True, help="Plain JSON on the standard output.")
def show(folder: Path, names: tuple[str, ...], as_json: bool) -> None:
    """Show messages with rates and bus load, the way of every quantity, pins, functions, notes.

    With options it is the resolved view, which has its own digest.
    """
    from tools.cli.pairing_facts import facts
    from xlate_core.pairing import load
    from xlate_core.pairing.options import joined

    told = facts(load(joined(folder, names)))
    if as_json:
        click.echo(json.dumps(told, indent=2, ensure_ascii=False))
        return
    from tools.cli.pairing_tables import print_facts

    print_facts(told)


@command.command("options")
@click.argument("folder", type=directory, metavar="DIR")
@click.option("--json", "as_json", is_flag=True, help="Plain JSON on the standard output.")
@click.option(
    "--vectors",
    type=directory,
    default=VECTORS,
    show_default="fixtures/vectors",
    help="Folder whose vectors are counted.",
)
def options_command(folder: Path, as_json: bool, vectors: Path) -> None:
    """Show the options of a pairing, every choice and pair with its digest and its vectors.

    Exit 1 when a choice has a conflict or no vector.
    """
    from tools.cli.pairing_options import options

    if not options(folder, as_json, vectors):
        raise click.exceptions.Exit(EXIT_DIFFERENCE)


@command.command()
@click.argument("before", type=directory, metavar="A")
@click.argument("after", type=directory, metavar="B")
@click.option("--json", "as_json", is_flag=True, help="Plain JSON on the standard output.")
@click.option(
    "--vectors",
    type=directory,
    default=VECTORS,
    show_default="fixtures/vectors",
    help="Folder whose vectors are looked through.",
)
def compare(before: Path, after: Path, as_json: bool, vectors: Path) -> None:
    """Show what changed from A to B and what it touches; exit 1 when anything differs."""
    from xlate_core.pairing import load
    from xlate_core.pairing.difference import compare as find
    from xlate_core.pairing.loader import read
    from xlate_core.pairing.positions import show_path

    old, new = load(before), load(after)
    found = find(read(before), read(after))
    touched = vectors_of({old.name, new.name}, vectors) if found.changes else []
    if as_json:
        told = {
            "digests": [old.digest, new.digest],
            "changes": [
                {"path": show_path(c.path), "before": c.before, "after": c.after}
                for c in found.changes
            ],
            "messages": list(found.messages),
            "functions": list(found.functions),
            "vectors": touched,
        }
        click.echo(json.dumps(told, indent=2, ensure_ascii=False))
    elif not found.changes:
        click.echo(f"no difference, digest {old.digest[:16]}")
    else:
        same = "the same" if old.digest == new.digest else f"{old.digest[:16]} {new.digest[:16]}"
        click.echo(f"{len(found.changes)} changed, digest {same}")
        for change in found.changes:
            click.echo(f"  {change}")
        for title, names in (
            ("messages touched", found.messages),
            ("functions touched", found.functions),
            ("vectors touched", touched),
        ):
            click.echo(f"{title}: {', '.join(names) or 'none'}")
    if found.changes:
        raise click.exceptions.Exit(EXIT_DIFFERENCE)


def vectors_of(names: set[str], folder: Path) -> list[str]:
    """Return the vectors below a folder that were made for one of the pairings."""
    from hil.vectors.vector import SUFFIXES, load_vector

    found = []
    for path in sorted(folder.rglob("*")) if folder.is_dir() else []:
        if path.name.endswith(SUFFIXES) and load_vector(path).header.pairing in names:
            found.append(path.relative_to(folder).as_posix())
    return found


@command.command()
@click.argument("name")
@click.option(
    "--into",
    type=directory,
    default=Path(),
    show_default="this folder",
    help="Folder in which the folder NAME is made.",
)
def new(name: str, into: Path) -> None:
    """Write a commented starting point that passes the check into a new folder NAME."""
    from hil.vectors.files import write_whole
    from tools.cli.pairing_template import files

    if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
        raise InputError(
            f'name: found "{name}", expected lower-case letters, digits and underscores, '
            "a letter first"
        )
    target = into / name
    if target.exists():
        raise InputError(f"{target.as_posix()}: exists already, expected a new folder")
    unfinished = into / f".{name}.new"
    try:
        unfinished.mkdir(parents=True, exist_ok=True)
        for file, text in files(name).items():
            write_whole(unfinished / file, text.encode("utf-8"))
        unfinished.rename(target)
    except OSError as error:
        raise InputError(f"{target.as_posix()}: cannot be written: {reason_of(error)}") from None
    click.echo(f"{target.as_posix()}: written; next: xlate pairing check {target.as_posix()}")


@command.command()
@click.argument("folder", type=directory)
def translate(folder: Path) -> None:
    """Put engine and fast form of a pairing into machine code, for long runs.

    `xlate --machine-code COMMAND` uses both from then on, until the pairing or the engine is
    edited. Takes a few minutes; needs the extra `test` and a C compiler.
    """
    from tools import machine_code

    made = machine_code.translate(folder, lambda line: click.echo(line, err=True))
    click.echo(f"{folder.as_posix()}: {'translated' if made else 'translated before'}")


@command.command()
@click.option("--check", "only_check", is_flag=True, help="Exit 1 when the kept copy differs.")
def schema(only_check: bool) -> None:
    """Write the JSON Schemas of bridge.toml and of options, for editors and other readers."""
    from xlate_core.pairing.options import option_schema
    from xlate_core.pairing.schema import json_schema

    same = True
    for path, kept in ((SCHEMA, json_schema()), (OPTION_SCHEMA, option_schema())):
        same = _keep_schema(path, kept, only_check) and same
    if not same:
        raise click.exceptions.Exit(EXIT_DIFFERENCE)


def _keep_schema(path: Path, schema: dict[str, object], only_check: bool) -> bool:
    """Write a schema, or say whether the kept copy is as the model says."""
    from hil.vectors.files import write_whole

    text = json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
    shown = path.relative_to(ROOT).as_posix()
    if only_check:
        kept = path.read_text(encoding="utf-8") if path.is_file() else ""
        same = kept == text
        word = "as the model says"
        if not same:
            word = "differs from the model; write it anew: xlate pairing schema"
        click.echo(f"{shown}: {word}")
        return same
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, text.encode("utf-8"))
    click.echo(f"{shown}: written")
    return True
