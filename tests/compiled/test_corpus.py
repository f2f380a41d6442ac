"""The fast form on every stored vector, and on pairings varied at random."""

import dataclasses
import random
from pathlib import Path

import pytest

from hil.repetition import stimulus
from hil.runner import Pairings, is_vector, load_for_run
from tests.compiled.lockstep import calm_stimulus, differences, run_beside
from tests.core.test_bridge import NAMES, PAIRINGS
from tests.firmware.test_varied_pairings import slow_stimulus, vary
from xlate_core.bridge import Bridge
from xlate_core.compiled import CompiledBridge
from xlate_core.pairing import load

VECTORS = PAIRINGS.parent / "vectors"
CORPUS = sorted(path for path in VECTORS.rglob("*") if is_vector(path))
replace = dataclasses.replace


@pytest.fixture(scope="module")
def pairings() -> Pairings:
    return Pairings(PAIRINGS, load, {})


@pytest.mark.slow
@pytest.mark.parametrize("path", CORPUS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_stored_vector(path: Path, pairings: Pairings) -> None:
    vector, names = load_for_run(path, pairings)
    spec = names.pairing.spec
    plain, fast = Bridge(spec), CompiledBridge(spec, calm_before_first=2)
    for tick, reset, inputs, frames in stimulus(vector, names):
        if reset is not None:
            cause, keep = reset
            assert fast.kept() == plain.kept()
            plain.reset(cause, plain.kept() if keep else None)
            fast.reset(cause, fast.kept() if keep else None)
        for frame in frames:
            plain.receive(frame)
        fast.receive_all(frames)
        assert fast.tick(inputs) == plain.tick(inputs), f"tick {tick}: {differences(plain, fast)}"
        if tick % 37 == 0:
            same = fast.digest() == plain.digest()
            assert same, f"tick {tick}: {differences(plain, fast)}"
    assert fast.image() == plain.image()


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(6))
def test_varied_pairing(name: str, seed: int) -> None:
    spec = vary(load(PAIRINGS / name).spec, random.Random(f"{name} {seed} fast"))
    run_beside(spec, calm_stimulus(spec, seed, 3000), seed, restarts=True)
    run_beside(spec, slow_stimulus(Bridge(spec), seed), seed)
