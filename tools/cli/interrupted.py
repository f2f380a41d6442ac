"""How a long command ends at Ctrl-C: it says how far it came and which command goes on."""

import shlex
import sys
from importlib.machinery import EXTENSION_SUFFIXES
from importlib.util import find_spec
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
    return _line(*words)


def leave(done: str, *words: object) -> NoReturn:
    """Say what was done and the `xlate` command that does the rest; ends with exit code 4."""
    click.echo(f"interrupted after {done}; go on with: {_line(*words)}", err=True)
    sys.exit(EXIT_INCOMPLETE)


def _line(*words: object) -> str:
    """Return an `xlate` command that runs on the engine this process has."""
    from tools.cli.main import MACHINE_CODE

    engine = find_spec("xlate_core.bridge")
    translated = engine is not None and str(engine.origin).endswith(tuple(EXTENSION_SUFFIXES))
    return shlex.join(["xlate", *([MACHINE_CODE] if translated else []), *map(str, words)])
