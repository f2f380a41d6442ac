"""`xlate board`: which boards there are, who answers, what a byte log holds."""

import json
import sys
from pathlib import Path

import click

from hil.verdicts import EXIT_MISMATCH
from tools.cli import board_disturb, board_measure, board_soak
from tools.cli.board_shared import (
    baud_option,
    board_argument,
    cause_word,
    hello_of,
    json_option,
    load_pairing,
    options_of,
    pairing_of,
    pairing_option,
    told,
)
from tools.cli.vectors_shared import PATH
from xlate_core.errors import InputError, reason_of


@click.group("board")
def command() -> None:
    """Find boards, ask who they are, look at what the line carried.

    Work on a raised, unpowered vehicle with pump and starter disarmed until the bench vectors pass.
    """


command.add_command(board_disturb.command)
command.add_command(board_measure.command)
command.add_command(board_soak.command)


@command.command("list")
@json_option
def list_command(as_json: bool) -> None:
    """List the boards that `--board` can name here."""
    from hil.boards.registry import made_here
    from hil.boards.serial_line import candidates

    made = made_here()
    ports = candidates()
    if as_json:
        click.echo(
            json.dumps(
                {
                    "made_here": [{"board": name, "note": note} for name, note in made],
                    "ports": [port._asdict() for port in ports],
                },
                indent=2,
            )
        )
        return
    for name, note in made:
        click.echo(f"{name:28} {note}")
    for port in ports:
        click.echo(f"{port.selector or port.device:28} {port.device}, {port.description}")
    if not ports:
        click.echo("no serial port on this machine")


@command.command("identify")
@board_argument
@pairing_option
@baud_option
@json_option
def identify_command(board: str, folder: Path | None, baud: int, as_json: bool) -> None:
    """Ask BOARD who it is; any pairing may answer."""
    with told():
        hello = hello_of(board, folder, options_of(baud))
        said = hello._asdict()
        said["firmware"] = ".".join(map(str, hello.firmware))
        said["cause"] = cause_word(hello.cause)
        said["known_as"] = pairing_of(hello.pairing)
    if as_json:
        click.echo(json.dumps(said, indent=2))
        return
    named = said["known_as"] or "none of fixtures/pairings"
    click.echo(f"board      {hello.board or '(no name)'}")
    click.echo(f"firmware   {said['firmware']}, rules {hello.rules}, link {hello.link}")
    click.echo(f"pairing    {hello.pairing[:16]} ({named}), tick {hello.tick_ms} ms")
    click.echo(f"started    {hello.boots} times, last cause {said['cause']}")
    click.echo(
        f"link       {hello.slots} packets of {hello.packet_octets} octets, "
        f"receive ring {hello.ring} octets"
    )


@command.command("state")
@board_argument
@pairing_option
@baud_option
@json_option
@click.argument("paths", nargs=-1)
def state_command(
    board: str, folder: Path | None, baud: int, as_json: bool, paths: tuple[str, ...]
) -> None:
    """Print the state fields of BOARD by name; PATHS are beginnings of names, default all."""
    from hil.boards.registry import close_board, open_board
    from hil.link.board import LinkBoard
    from hil.vectors.errors import nearest

    with told():
        opened = open_board(board, load_pairing(folder), options_of(baud))
        try:
            if not isinstance(opened, LinkBoard):
                raise InputError(f"board `{board}` has no line to ask for its state")
            every = opened.dump()
        finally:
            close_board(opened)
        fields = [one for one in every if not paths or one[0].startswith(tuple(paths))]
        if not fields:
            near = nearest(paths[0], [path for path, _ in every])
            raise InputError(f"no state field begins with {' or '.join(paths)}{near}")
    if as_json:
        click.echo(json.dumps(dict(fields), indent=2))
        return
    for path, value in fields:
        click.echo(f"{path:60} {value}")


@command.command("restart")
@board_argument
@pairing_option
@baud_option
def restart_command(board: str, folder: Path | None, baud: int) -> None:
    """Restart BOARD as a reset does and see that it comes back."""
    from hil.boards.registry import close_board, open_board
    from hil.link.board import LinkBoard

    with told():
        opened = open_board(board, load_pairing(folder), options_of(baud))
        try:
            if not isinstance(opened, LinkBoard):
                raise InputError(f"board `{board}` has no line to restart it by")
            before = opened.hello.boots
            opened.restart()
            after = opened.hello
        finally:
            close_board(opened)
    click.echo(f"restarted: start {before} before, {after.boots} now, {cause_word(after.cause)}")


@command.command("free-run")
@board_argument
@pairing_option
@baud_option
@click.option("--seconds", type=click.FloatRange(0.1, 3600), default=5.0, show_default=True)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option(
    "--style",
    type=click.Choice(("driving", "disturbed", "hostile")),
    default="disturbed",
    show_default=True,
    help="Style of the traffic.",
)
@click.option(
    "--as-started",
    is_flag=True,
    help="Begin as the board started, with the memory it kept, not with a power-on.",
)
@json_option
def free_run_command(
    board: str,
    folder: Path | None,
    baud: int,
    seconds: float,
    seed: int,
    style: str,
    as_started: bool,
    as_json: bool,
) -> None:
    """Let BOARD run by its own clock under random traffic and compare its journal.

    The board tells every input with its own tick; the reference replays them. Exit code 0 when all
    agrees, 1 at a difference, 3 when the journal is not whole.
    """
    from hil.boards.registry import close_board, open_board
    from hil.explanation import free_run_lines
    from hil.link.board import LinkBoard
    from hil.link.free_run import free_run
    from hil.vectors import plays, random_traffic
    from hil.vectors.names import names_of
    from hil.vectors.vector import Header

    with told():
        pairing = load_pairing(folder)
        names = names_of(pairing)
        opened = open_board(board, pairing, options_of(baud))
        try:
            if not isinstance(opened, LinkBoard):
                raise InputError(f"board `{board}` has no clock of its own")
            ticks = int(seconds * 1000) // pairing.spec.tick_ms
            steps = random_traffic.steps(names, seed, style, ticks)
            header = Header("", "", "", "", 0, 1, ticks, ticks, (), "", "", None)
            run = free_run(opened, seconds, plays.of_steps(steps, header), as_started)
        finally:
            close_board(opened)
    lines = [] if run.difference is None else free_run_lines(names, run.difference)
    if as_json:
        told_run = {
            "ticks": run.ticks,
            "inputs": run.inputs,
            "frames_in": run.frames_in,
            "frames_out": run.frames_out,
            "digest": run.digest,
            "difference": lines,
        }
        click.echo(json.dumps(told_run, indent=2))
    else:
        click.echo(
            f"free run of {run.ticks} ticks: {run.inputs} inputs, {run.frames_in} frames in, "
            f"{run.frames_out} frames out, state digest {run.digest or 0:08X}"
        )
        for line in lines or ["as the reference says, bit for bit"]:
            click.echo(line)
    if lines:
        sys.exit(EXIT_MISMATCH)


@command.command("log")
@click.argument("file", type=PATH)
def log_command(file: Path) -> None:
    """Print the packets of a byte log, one a line."""
    from hil.link.listing import listing
    from hil.link.port import read_log

    with told():
        try:
            entries = read_log(file)
        except OSError as error:
            raise InputError(f"{file}: cannot be read ({reason_of(error)})") from None
        if not entries:
            raise InputError(f"{file}: no byte log of a link; expected a file bytes-*.log of a run")
        for line in listing(entries):
            click.echo(line)
