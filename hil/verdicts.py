"""Verdicts separate the product from the bench."""

from collections.abc import Iterable
from enum import StrEnum

EXIT_PASS = 0
EXIT_MISMATCH = 1
EXIT_INPUT = 2
EXIT_BENCH = 3
EXIT_INCOMPLETE = 4


class Verdict(StrEnum):
    """What a vector's run says. A mismatch is the product's and is never retried."""

    PASS = "pass"
    MISMATCH = "mismatch"
    TIMEOUT = "timeout"
    PROTOCOL = "protocol"
    RESET = "reset"
    BENCH_FAULT = "bench_fault"
    NOT_RUN = "not_run"


BENCH = frozenset({Verdict.TIMEOUT, Verdict.PROTOCOL, Verdict.RESET, Verdict.BENCH_FAULT})


def exit_code(verdicts: Iterable[Verdict]) -> int:
    """Return the exit code of a run: a mismatch outweighs the bench, that an incomplete run."""
    seen = set(verdicts)
    if Verdict.MISMATCH in seen:
        return EXIT_MISMATCH
    if seen & BENCH:
        return EXIT_BENCH
    if Verdict.NOT_RUN in seen or not seen:
        return EXIT_INCOMPLETE
    return EXIT_PASS
