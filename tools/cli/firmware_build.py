"""`xlate firmware build`: the whole firmware of a board for one pairing, and what it takes."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from hil.firmware.programs import Built

EXIT_DIFFERENCE, EXIT_INPUT, EXIT_BENCH = 1, 2, 3
BUILD = Path("build/firmware")


@click.command("build")
@click.option(
    "--board", required=True, type=click.Choice(["native", "stm32f405"]), help="What it runs on."
)
@click.option(
    "--pairing", required=True, type=click.Path(path_type=Path), help="Folder of the pairing."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help=f"Folder for the program; default {BUILD.as_posix()}/BOARD/PAIRING.",
)
@click.option(
    "--program",
    type=click.Choice(["link", "measure"]),
    default="link",
    show_default=True,
    help="`link` runs vectors; `measure` (STM32F405 only) times the core.",
)
@click.option(
    "--compiler",
    type=click.Choice(["gcc", "clang", "zig"]),
    help="Take this one instead of the first that is there.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def command(
    board: str,
    pairing: Path,
    out: Path | None,
    program: str,
    compiler: str | None,
    as_json: bool,
) -> None:
    """Build the firmware of BOARD for one pairing; print flash, RAM and worst stack.

    Exit code 1 when it takes more than its budget, 2 for a wrong pairing, 3 without a compiler.
    """
    from hil.boards.interface import BoardError
    from hil.firmware.programs import build
    from xlate_core.errors import InputError, reason_of
    from xlate_core.pairing import load

    if program == "measure" and board != "stm32f405":
        raise InputError(f"--program measure: found --board {board}, expected stm32f405")
    loaded = load(pairing)
    folder = out or BUILD / board / loaded.name
    try:
        built = build(loaded, board, folder, program, compiler)
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    except OSError as error:
        raise InputError(
            f"{folder.as_posix()}: cannot be written: {reason_of(error)}; expected a folder"
        ) from None
    click.echo(json.dumps(built.plain(), indent=2) if as_json else table(built))
    if built.over_budget():
        click.echo(f"over budget: {', '.join(built.over_budget())}", err=True)
        sys.exit(EXIT_DIFFERENCE)


def table(built: "Built") -> str:
    """Return the figures for a person."""
    from hil.firmware.programs import FLASH_BUDGET, RAM_BUDGET, STACK_BUDGET

    def row(what: str, octets: int | None, budget: int) -> str:
        if octets is None:
            return f"  {what:<12} not told by this compiler"
        of = f" of {budget:>6}" if built.board != "native" else ""
        return f"  {what:<12} {octets:>7} octets{of}"

    lines = [
        built.path.as_posix(),
        f"{built.pairing}, pairing {built.digest[:16]}, {built.compiler}",
        row("flash", built.size.flash, FLASH_BUDGET),
        row("RAM", built.size.ram, RAM_BUDGET),
        row("worst stack", built.worst_stack, STACK_BUDGET),
    ]
    if built.worst_path:
        lines.append(f"  deepest: {' > '.join(built.worst_path)}")
    if built.allowance:
        lines.append(f"  an allowance stands for the stack of {', '.join(built.allowance)}")
    lines.append(
        "A bench result is no approval: road use needs the checks of local regulations and a "
        "licensed or\naccredited person. Pump and starter stay disarmed until the bench vectors "
        "pass."
    )
    return "\n".join(lines)
