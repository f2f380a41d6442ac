"""How the process of a command hears Ctrl-C from its first line to its last.

Before the work begins nothing is lost: the process ends at once. In the work it is a
`KeyboardInterrupt`, but none out of an import: modules half loaded, and C code that asks for one,
make other errors of it. There it waits until the import is done, where the system has a timer.
Once the command has ended its exit code stands. Imports nothing that takes time.
"""

import atexit
import os
import signal
import sys
from collections.abc import Callable
from types import FrameType

EXIT_INCOMPLETE = 4
AGAIN_S = 0.01  # between two looks whether the import is done
IMPORTING = "<frozen importlib._bootstrap>"


def main() -> None:
    """Run `xlate`; its words are those of the process."""
    hear()
    from tools.cli.main import main as command

    run(command)


def hear() -> None:
    """Hear interrupts from now on, also where whoever started this process held them back.

    A process that is told to ignore them goes on doing so.
    """
    if signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        return
    signal.signal(signal.SIGINT, _end_at_once)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT, signal.SIGALRM})
    atexit.register(_hear_no_more)


def work_begins() -> None:
    """Make an interrupt a `KeyboardInterrupt` from now on, if this process hears them itself."""
    if signal.getsignal(signal.SIGINT) is _end_at_once:
        signal.signal(signal.SIGINT, _interrupt)
        if hasattr(signal, "setitimer"):
            signal.signal(signal.SIGALRM, _interrupt)


def run(command: Callable[[], object]) -> None:
    """Run a command that ends with SystemExit; after it an interrupt only hurries the end."""
    try:
        command()
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 0
        if signal.getsignal(signal.SIGINT) in (_interrupt, _end_at_once):
            signal.signal(signal.SIGINT, lambda *_: _end(code))
        raise


def _end_at_once(number: int, frame: FrameType | None) -> None:
    os.write(2, b"interrupted\n")
    os._exit(EXIT_INCOMPLETE)


def _end(code: int) -> None:
    sys.stdout.flush()
    os._exit(code)


def _interrupt(number: int, frame: FrameType | None) -> None:
    """Raise KeyboardInterrupt, or come again soon when it would fall into an import."""
    if hasattr(signal, "setitimer"):
        while frame is not None:
            if frame.f_code.co_filename == IMPORTING:
                signal.setitimer(signal.ITIMER_REAL, AGAIN_S)
                return
            frame = frame.f_back
    raise KeyboardInterrupt


def _hear_no_more() -> None:
    """Let the end of Python itself be quiet, and the exit code be that of the command.

    Python ends by the signal when an interrupt ever left an `exec` of text, even if somebody
    caught it later; the next `exec` makes it forget that.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    exec("")
