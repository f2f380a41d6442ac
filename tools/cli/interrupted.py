"""How a long command ends at Ctrl-C: it says how far it came and which command goes on."""

import shlex
import sys
from typing import NoReturn

import click

from hil.verdicts import EXIT_INCOMPLETE


def words_of_rest(option: str, value: object) -> str:
    """Return the command that is being run, with an option that lets it go on."""
    from tools.cli.main import WORDS

    words = [str(word) for word in click.get_current_context().meta[WORDS]]
    if option in words:
        words[words.index(option) + 1] = str(value)
    else:
        words += [option, str(value)]
    return shlex.join(["xlate", *words])


def leave(done: str, *words: object) -> NoReturn:
    """Say what was done and the `xlate` command that does the rest; ends with exit code 4."""
    again = shlex.join(["xlate", *map(str, words)])
    click.echo(f"interrupted after {done}; go on with: {again}", err=True)
    sys.exit(EXIT_INCOMPLETE)
