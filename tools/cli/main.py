"""The command `xlate`. Groups are imported when used, so `xlate --help` answers at once.

Exit codes: 0 pass, 1 mismatch or difference, 2 usage or input, 3 bench, 4 incomplete. Whatever a
person did wrong arrives here as an `InputError` and is said without a traceback.
"""

if __name__ == "__main__":
    from tools.cli.hearing import hear

    hear()

import difflib
import importlib
import importlib.util
import os
import sys
from typing import Any

import click

from hil.collecting import collect_rarely
from tools.cli import hearing
from xlate_core.errors import InputError, reason_of

EXIT_DIFFERENCE = 1
EXIT_INPUT = 2

MACHINE_CODE = "--machine-code"
WORDS = "xlate.words"

COMMANDS = {
    "pairing": ("tools.cli.pairing", "Check, show, compare and start pairings."),
    "vectors": ("tools.cli.vectors", "Generate, verify, run and reduce vectors."),
    "log": ("tools.cli.log_group", "Read bus logs and work out layouts from them."),
    "board": ("tools.cli.board", "Find boards, ask who they are, read byte logs."),
    "firmware": ("tools.cli.firmware", "Generate the C tables of a pairing, build firmware."),
    "failsafe": ("tools.cli.failsafe", "The failsafe behaviour table."),
    "timing": ("tools.cli.timing", "Worst-case times on the buses and through the bridge."),
    "speed": ("tools.cli.speed", "Measure the speed of the reference engine."),
}
"""Command name -> module, whose click command is called `command`, and one line of help."""


class LazyGroup(click.Group):
    """A group whose commands live in modules that are imported when they are used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands whose modules exist."""
        return [name for name, (module, _) in COMMANDS.items() if importlib.util.find_spec(module)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command = importlib.import_module(COMMANDS[cmd_name][0]).command
        if not isinstance(command, click.Command):
            raise TypeError(f"{COMMANDS[cmd_name][0]}.command is no click command")
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; an unknown one is answered with the nearest that exists."""
        names = self.list_commands(ctx)
        if args and not args[0].startswith("-") and args[0] not in names:
            close = difflib.get_close_matches(args[0], names, n=1, cutoff=0.5)
            hint = f'; did you mean "{close[0]}"?' if close else f"; there are {', '.join(names)}"
            ctx.fail(f'no command "{args[0]}"{hint}')
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name][1]) for name in self.list_commands(ctx)])

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Keep the words of the command for a run in machine code."""
        ctx.meta[WORDS] = [word for word in args if word != MACHINE_CODE]
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; an input error is its message on stderr and exit code 2."""
        collect_rarely()
        try:
            hearing.work_begins()
            if ctx.params["machine_code"]:
                from tools import machine_code

                raise click.exceptions.Exit(machine_code.run(ctx.meta[WORDS], _say))
            return super().invoke(ctx)
        except InputError as error:
            click.echo(str(error), err=True)
            raise click.exceptions.Exit(EXIT_INPUT) from None
        except KeyboardInterrupt:
            click.echo("interrupted", err=True)
            raise click.exceptions.Exit(hearing.EXIT_INCOMPLETE) from None
        except BrokenPipeError:
            # The reader of our output has gone, as `head` does; keep the shutdown quiet too.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise click.exceptions.Exit(0) from None
        except OSError as error:
            # A file or folder a person named that is no such thing, is closed to them, or is full.
            if error.filename is None:
                raise
            told = f"{error.filename}: cannot be read or written ({reason_of(error)})"
            click.echo(told, err=True)
            raise click.exceptions.Exit(EXIT_INPUT) from None


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="xlate-bridge", prog_name="xlate")
@click.option(
    MACHINE_CODE,
    is_flag=True,
    help="Run the readable engine translated into machine code (made once, in about two minutes).",
)
def main(machine_code: bool) -> None:
    """Design and test translation modules between a car body and another engine controller.

    A bench result is no approval: road use needs the checks of local regulations and a licensed or
    accredited person. Work on a raised, unpowered vehicle with the pump and starter disarmed until
    the bench vectors pass.
    """


def _say(line: str) -> None:
    click.echo(line, err=True)


if __name__ == "__main__":
    hearing.run(main)
