"""How a long command ends at Ctrl-C: it says how far it came and which command goes on."""

import shlex
import sys
from typing import NoReturn

import click

from hil.verdicts import EXIT_INCOMPLETE


def leave(done: str, *words: object) -> NoReturn:
    """Say what was done and the `xlate` command that does the rest; ends with exit code 4."""
    again = shlex.join(["xlate", *map(str, words)])
    click.echo(f"interrupted after {done}; go on with: {again}", err=True)
    sys.exit(EXIT_INCOMPLETE)
