"""Work shared out over processes, results in the order of the items.

Processes are spawned, not forked, so that it works alike on every system. Few items are done in
this process: starting others would take longer.
"""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import TypeVar

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")

FEW = 16


def default_jobs() -> int:
    """Return the number of processors this process may count on."""
    return os.cpu_count() or 1


def in_order(
    function: Callable[[Item], Outcome], items: Sequence[Item], jobs: int
) -> Iterator[Outcome]:
    """Yield function(item) for every item in order, worked out by `jobs` processes.

    The function and the items must be importable by name and picklable. Closing the iterator early,
    as an interrupt does, cancels what has not begun.
    """
    if jobs <= 1 or len(items) < FEW:
        yield from map(function, items)
        return
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as executor:
        futures = [executor.submit(function, item) for item in items]
        try:
            for future in futures:
                yield future.result()
        finally:
            for future in futures:
                future.cancel()
