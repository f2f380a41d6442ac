"""Drawn pairings and endless comparison."""

from itertools import islice
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.interface import Board
from hil.boards.reference import ReferenceBoard
from hil.firmware import toolchains
from hil.soak.maker import make
from hil.soak.running import Round, lockstep, rounds
from hil.vectors.generation import generate
from hil.vectors.names import names_of
from tools.cli.main import main
from tools.environment import C_COMPILER
from xlate_core.bridge import Inputs, Outputs
from xlate_core.frames import Frame
from xlate_core.pairing import load
from xlate_core.pairing.model import Pairing

SEEDS = range(60)


class Late(ReferenceBoard):
    """A board that shows every level output one tick late."""

    before: tuple[bool, ...] = ()

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Give the levels of the tick before."""
        outputs = super().step(inputs, frames)
        late = outputs._replace(levels=self.before or outputs.levels)
        self.before = outputs.levels
        return late


def test_every_seed_gives_a_pairing_and_the_same_each_time(tmp_path: Path) -> None:
    for seed in SEEDS:
        first = make(seed, tmp_path / "first")
        again = make(seed, tmp_path / "again")
        assert first.digest == again.digest
        assert first.spec.messages
        assert first.spec.transmits


def test_the_draws_reach_what_they_should(tmp_path: Path) -> None:
    """Every feature the maker knows appears in some of the first pairings."""
    seen: set[str] = set()
    for seed in SEEDS:
        text = (make(seed, tmp_path).directory / "bridge.toml").read_text(encoding="utf-8")
        for word in (
            "allow_short",
            "crc8",
            "xor8",
            "sum8",
            '"xor4"',
            '"sum4"',
            "sum8_inverted",
            "sum8_carry",
            "sum16_inverted",
            "sum16_carry",
            '"crc"',
            "data_id_list",
            *(f"profile = {{ number = {number}," for number in (1, 2, 5, 11, 22)),
            "alternating",
            'data_id_mode = "nibble"',
            "machine = ",
            '"length"',
            "fold",
            "counter",
            ".path.",
            "max_change",
            "frozen_after_frames",
            "return_per_s",
            "hold_ms",
            "not available",
            'on_loss = "stop"',
            'on_loss = "not_available"',
            "on_change = true",
            "[route.",
            "fifo",
            "cooling_fan",
            "gauge",
            "[fault.",
            "latch = true",
            "analogue",
        ):
            if word in text:
                seen.add(word)
    assert len(seen) == 39


@pytest.mark.slow
@pytest.mark.skipif(not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}")
def test_reference_fast_form_and_core_agree_on_drawn_pairings(tmp_path: Path) -> None:
    done: list[Round] = list(islice(rounds(100, tmp_path, ticks=1500), 9))
    assert [one.difference for one in done] == [""] * 9
    assert {one.style for one in done} == {"driving", "disturbed", "hostile"}
    assert all(one.ticks == 1500 for one in done)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
@pytest.mark.skipif(
    toolchains.zig_command() is None, reason="needs zig. pip install xlate-bridge[firmware]"
)
def test_zig_builds_the_board_where_no_other_compiler_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(toolchains.shutil, "which", lambda name: None)
    done = list(islice(rounds(5, tmp_path, ticks=400), 3))
    assert [one.difference for one in done] == [""] * 3


def test_no_compiler_is_one_sentence_and_exit_code_3(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(toolchains.shutil, "which", lambda name: None)
    monkeypatch.setattr(toolchains, "zig_command", lambda: None)
    answer = CliRunner().invoke(main, ["board", "soak", "--keep", str(tmp_path)])
    assert answer.exit_code == 3
    assert answer.stderr.strip() == toolchains.MISSING[toolchains.NATIVE]


def test_a_board_that_is_late_is_found_cut_small_and_kept(tmp_path: Path) -> None:
    def late(pairing: Pairing, folder: Path) -> Board:
        del folder
        return Late(pairing)

    found = next(
        one
        for one in islice(rounds(7, tmp_path / "kept", 700, late, ("driving",)), 20)
        if one.difference
    )
    assert "the board (pin)" in found.difference
    scenario = next(path for path in found.kept if path.suffix == ".scenario")
    pairing = load(next(path.parent for path in found.kept if path.name == "bridge.toml"))
    generated = generate(scenario, names_of(pairing))
    assert generated.disagreements == ()
    events = [
        line for line in scenario.read_text(encoding="utf-8").splitlines() if "at " in line[:3]
    ]
    assert 0 < len(events) < 30


def test_the_fast_form_on_a_pairing_that_once_parted_it() -> None:
    """A three-octet Motorola signal in a message that is mostly Intel; drawn by the soak."""
    pairing = load(Path(__file__).parent / "odd_chunk")
    for style in ("driving", "disturbed"):
        parted, ticks = lockstep(pairing, ReferenceBoard(pairing), 8, style, 2500)
        assert parted is None
        assert ticks == 2500
