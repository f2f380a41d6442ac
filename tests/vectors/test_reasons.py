"""The corpus makes the engine give every reason it has for an event."""

import pytest

from hil.boards.reference import ReferenceBoard
from hil.repetition import stimulus
from hil.runner import Pairings, find_vectors, load_for_run
from tests.core.test_bridge import PAIRINGS
from xlate_core.bridge import ResetCause
from xlate_core.events import Reason
from xlate_core.pairing import load

LONGEST = 10_000
"""Ticks of the vectors looked at: every reason has a short one."""


@pytest.mark.slow
def test_every_reason_is_given_somewhere_in_the_corpus() -> None:
    pairings = Pairings(PAIRINGS, load, {})
    vectors = PAIRINGS.parent / "vectors"
    loaded = [load_for_run(path, pairings) for path in find_vectors([], vectors)]
    loaded.sort(key=lambda entry: (entry[0].header.ticks, entry[0].header.identity))
    missing = set(Reason)
    for vector, names in loaded:
        if not missing or vector.header.ticks > LONGEST:
            break
        board = ReferenceBoard(names.pairing, observe=True)
        board.reset(ResetCause.POWER_ON, False)
        for _, reset, inputs, frames in stimulus(vector, names):
            if reset is not None:
                board.reset(*reset)
            board.step(inputs, frames)
        missing -= {event.reason for event in board.take_events()}
    assert missing == set()
