"""Spans of the fast form beside the readable engine, tick by tick."""

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import groupby

from tests.compiled.lockstep import Step, differences
from xlate_core.bridge import Bridge
from xlate_core.compiled import CompiledBridge
from xlate_core.compiled.columns import Sent, arrivals_of, sent_keys
from xlate_core.interface import BridgeSpec, Outputs

LENGTHS = (1, 3, 20, 200, 1000)  # ticks


@dataclass(slots=True)
class Watched(Sent):
    """What was sent, and how many ticks were run one by one."""

    one_by_one: int = 0

    def end_tick(self, tick: int, outputs: Outputs) -> None:
        self.one_by_one += 1
        Sent.end_tick(self, tick, outputs)


def run_spans_beside(
    spec: BridgeSpec,
    steps: Iterable[Step],
    seed: int,
    seen: Callable[[int], int] = int,
) -> tuple[int, int]:
    """Run both forms; return the ticks run and how many of them were run in spans.

    `seen` is how the text has a word.
    """
    source = random.Random(seed)
    plain, fast = Bridge(spec), CompiledBridge(spec, calm_before_first=2)
    keys = sent_keys(spec)
    count = in_spans = 0
    for _, group in groupby(steps, key=lambda step: id(step[1])):
        stretch = list(group)
        inputs = stretch[0][1]
        while stretch:
            length = source.choice(LENGTHS)
            given, stretch = [frames for frames, _ in stretch[:length]], stretch[length:]
            expected, actual = Sent(keys), Watched(keys)
            for tick, frames in enumerate(given):
                plain.receive_all(frames)
                expected.end_tick(tick, plain.tick(inputs))
            arrivals = arrivals_of(spec, given)
            arrivals.words = [seen(word) for word in arrivals.words]
            fast.run(arrivals, inputs, actual)
            where = f"ticks {count}..{count + len(given) - 1}"
            assert actual.codes == expected.codes, f"{where}: {differences(plain, fast)}"
            assert [seen(w) for w in actual.words] == [seen(w) for w in expected.words], where
            assert (actual.bounds, actual.others) == (expected.bounds, expected.others), where
            assert actual.rest == expected.rest, where
            count += len(given)
            in_spans += len(given) - actual.one_by_one
            if source.random() < 0.2:
                assert fast.digest() == plain.digest(), f"{where}: {differences(plain, fast)}"
    assert fast.image() == plain.image(), differences(plain, fast)
    return count, in_spans
