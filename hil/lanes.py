"""Vectors over boards: one lane a board, each lane in a process of its own, results as they come.

The vectors are shared out, or every board runs all of them. A lane whose board is lost ends; what
it would have run goes to the others, or is reported as not run. One lane alone needs no process.
"""

import signal
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from hil.bench import Bench, BenchPlan
from hil.parallel import interrupts_wait
from hil.runner import Pairings, Result, load_for_run
from hil.verdicts import Verdict
from xlate_core.pairing import load

END_S = 5.0


@dataclass(slots=True)
class Lane:
    """A bench in a process: what it runs now and what is left for it alone."""

    plan: BenchPlan
    process: BaseProcess
    line: Connection
    own: deque[Path] | None
    running: Path | None = None
    over: bool = False


@dataclass(slots=True)
class Work:
    """What is to be run, and by whom."""

    plans: Sequence[BenchPlan]
    paths: Sequence[Path]
    each: bool
    shared: deque[Path] = field(default_factory=deque)


def run(plans: Sequence[BenchPlan], paths: Sequence[Path], each: bool) -> Iterator[Result]:
    """Yield the result of every vector, of every vector on every board with `each`."""
    if len(plans) == 1:
        yield from run_here(plans[0], paths)
        return
    yield from run_apart(Work(plans, paths, each, deque(() if each else paths)))


def run_here(plan: BenchPlan, paths: Sequence[Path]) -> Iterator[Result]:
    """Run everything in this process."""
    bench = Bench(plan, Pairings(plan.pairings, load, {}))
    try:
        for path in paths:
            if bench.lost:
                yield not_run(plan, path, bench.pairings, bench.lost)
            else:
                yield bench.run(path)
    finally:
        bench.close()


def not_run(plan: BenchPlan, path: Path, pairings: Pairings, why: str) -> Result:
    """Return the result of a vector whose turn did not come."""
    header = load_for_run(path, pairings)[0].header
    return Result(
        header.identity,
        path,
        header.pairing,
        header.title,
        Verdict.NOT_RUN,
        explanation=(f"vector {header.identity}: not run: {why}",),
        board=plan.board,
    )


def run_apart(work: Work) -> Iterator[Result]:
    """Run every lane in a process of its own."""
    pairings = Pairings(work.plans[0].pairings, load, {})
    lanes = [start(plan, work) for plan in work.plans]
    why = "no board is left"
    try:
        for lane in lanes:
            give(lane, work)
        while any(lane.running is not None for lane in lanes):
            waiting = {lane.line: lane for lane in lanes if lane.running is not None}
            for ready in connection.wait(list(waiting)):
                lane = waiting[ready]  # type: ignore[index]
                result, lost = answer(lane, pairings)
                why = lost or why
                yield result
                if lost:
                    lane.over = True
                    left = list(lane.own or ())
                    for path in left:
                        yield not_run(lane.plan, path, pairings, lost)
                else:
                    give(lane, work)
        for path in work.shared:
            yield not_run(work.plans[0], path, pairings, why)
    finally:
        for lane in lanes:
            end(lane)


def start(plan: BenchPlan, work: Work) -> Lane:
    """Start a lane's process."""
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=drive, args=(plan, theirs), daemon=True)
    with interrupts_wait():
        process.start()
    theirs.close()
    return Lane(plan, process, ours, deque(work.paths) if work.each else None)


def give(lane: Lane, work: Work) -> None:
    """Give a lane its next vector, when there is one."""
    source = work.shared if lane.own is None else lane.own
    lane.running = source.popleft() if source else None
    if lane.running is not None:
        with suppress(OSError):
            lane.line.send(lane.running)


def answer(lane: Lane, pairings: Pairings) -> tuple[Result, str]:
    """Return a lane's result, and why its board is lost when it is."""
    path, lane.running = lane.running, None
    assert path is not None
    try:
        result, lost = lane.line.recv()
    except (EOFError, OSError):
        lost = "the process that drove the board ended"
        result = replace(
            not_run(lane.plan, path, pairings, lost), verdict=Verdict.BENCH_FAULT, attempts=1
        )
        return result, lost
    if isinstance(result, Exception):
        raise result
    return result, lost


def end(lane: Lane) -> None:
    """End a lane's process: it closes its board when its line closes, at the latest when killed."""
    with suppress(OSError):
        lane.line.close()
    lane.process.join(END_S)
    if lane.process.is_alive():
        lane.process.terminate()
        lane.process.join(END_S)
    if lane.process.is_alive():
        lane.process.kill()
        lane.process.join()


def drive(plan: BenchPlan, line: Connection) -> None:
    """Drive one board in a process of its own; an interrupt is the parent's to handle."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    bench = Bench(plan, Pairings(plan.pairings, load, {}))
    try:
        while True:
            try:
                path = line.recv()
            except (EOFError, OSError):
                return
            try:
                answered: tuple[Result | Exception, str] = (bench.run(path), bench.lost)
            except Exception as error:  # noqa: BLE001 - told to the parent, which raises it
                answered = (error, "")
            with suppress(OSError):
                line.send(answered)
    finally:
        bench.close()
