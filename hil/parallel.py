"""Work shared out over processes, results in the order of the items.

Few items are done in this process: starting others would take longer. Processes are spawned, so
that it works alike on every system; on Linux, where it is safe, they may be forked instead, which
only saves loading once more what is loaded here.
"""

import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context, resource_tracker
from typing import TypeVar

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")

FEW = 16
HELD = [getattr(signal, name) for name in ("SIGINT", "SIGALRM") if hasattr(signal, name)]
"""An interrupt, and the timer by which one comes again that was put off for a moment."""


def default_jobs() -> int:
    """Return the number of processors this process may count on."""
    return os.cpu_count() or 1


@contextmanager
def interrupts_wait() -> Iterator[None]:
    """Hold an interrupt back, where the system can: here to the end, in processes begun for good.

    A process that is still being started would say in a page where it was.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # it lets interrupts in again when it is started
    before = signal.pthread_sigmask(signal.SIG_BLOCK, HELD)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def in_order(
    function: Callable[[Item], Outcome],
    items: Sequence[Item],
    jobs: int,
    may_fork: bool = False,
    few: int | None = None,
) -> Iterator[Outcome]:
    """Return function(item) for every item in order, worked out by `jobs` processes.

    Fewer than `few`, FEW if it is None, are worked out in this process. The function and the items
    must be importable by name and picklable. Closing the iterator early, as an interrupt does,
    cancels what has not begun.
    """
    if jobs <= 1 or len(items) < (FEW if few is None else few):
        return map(function, items)
    forks = may_fork and sys.platform == "linux"
    executor = ProcessPoolExecutor(jobs, get_context("fork" if forks else "spawn"))
    work = partial(_interruptible, function)
    try:
        # Begun here and not with the first result: a caller's threads should not be forked.
        with interrupts_wait():
            futures = [executor.submit(work, item) for item in items]
    except BaseException:
        executor.shutdown(cancel_futures=True)
        raise
    return _results(executor, futures)


def _interruptible(function: Callable[[Item], Outcome], item: Item) -> Outcome:
    """Return function(item) in a process of the pool; an interrupt ends it, never the waiting."""
    if not hasattr(signal, "pthread_sigmask"):
        return function(item)
    try:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, HELD)
        return function(item)
    finally:
        signal.pthread_sigmask(signal.SIG_BLOCK, HELD)


def _results(
    executor: ProcessPoolExecutor, futures: Sequence[Future[Outcome]]
) -> Iterator[Outcome]:
    with executor:
        try:
            for future in futures:
                yield future.result()
        finally:
            for future in futures:
                future.cancel()
