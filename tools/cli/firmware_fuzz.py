"""`xlate firmware fuzz`: arbitrary octets into the link and arbitrary frames into the core."""

import sys
from pathlib import Path

import click

EXIT_DIFFERENCE, EXIT_BENCH = 1, 3
PAIRING = Path(__file__).resolve().parents[2] / "fixtures" / "pairings" / "farm_pickup"


@click.command("fuzz")
@click.argument("target", type=click.Choice(["link", "receive"]))
@click.option("--seconds", type=click.IntRange(1), default=60, show_default=True)
@click.option("--seed", type=click.IntRange(1), default=1, show_default=True)
@click.option("--pairing", type=click.Path(path_type=Path), default=PAIRING)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("build/fuzz"),
    show_default=True,
    help="Folder for the program, what it found, and inputs to go on from next time.",
)
def command(target: str, seconds: int, seed: int, pairing: Path, out: Path) -> None:
    """Fuzz the link's decoder or the core's receive under the sanitizers.

    Exit code 1 when something is found; its input stays in the folder. 3 without clang.
    """
    from hil.boards.interface import BoardError
    from hil.firmware import fuzzing
    from xlate_core.errors import InputError, reason_of
    from xlate_core.pairing import load

    loaded = load(pairing)
    try:
        out.mkdir(parents=True, exist_ok=True)
        program = fuzzing.build(loaded, target, out)
        found = fuzzing.run(program, target, out, seconds, seed)
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    except OSError as error:
        raise InputError(
            f"{out.as_posix()}: cannot be written ({reason_of(error)}); expected a folder"
        ) from None
    click.echo(f"{target}: {found.runs} inputs in {seconds} s")
    if found.finding is not None:
        click.echo(f"found: {found.words}\ninput: {found.finding.as_posix()}", err=True)
        click.echo(f"again: {program.as_posix()} {found.finding.as_posix()}", err=True)
        sys.exit(EXIT_DIFFERENCE)
    click.echo("nothing found")
