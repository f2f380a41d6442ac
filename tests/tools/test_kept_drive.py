"""A drive in the compact store, replayed bit for bit; a changed bit is found where it stands."""

from pathlib import Path

import pytest

from tools.logs.kept_drive import FIRST_SENT, keep, replay_kept
from tools.logs.store import Store, StoreWriter
from tools.logs.table import FrameTable
from xlate_core.compiled import CompiledBridge
from xlate_core.errors import InputError
from xlate_core.pairing import Pairing, load

PAIRINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pairings"
TICKS = 30_000  # more than one block of the store


@pytest.fixture(scope="module")
def pairing() -> Pairing:
    return load(PAIRINGS / "farm_pickup")


@pytest.fixture(scope="module")
def kept(pairing: Pairing, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("drive") / "drive.xlog"
    keep(pairing, 3, TICKS, path)
    return path


@pytest.fixture(params=["frames", "columns"], autouse=True)
def in_columns(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Replay frame by frame, and in columns as the fast form in machine code has them."""
    chosen: bool = request.param == "columns"
    monkeypatch.setattr(CompiledBridge, "has_spans", lambda _: chosen)
    return chosen


def rewritten(kept: Path, target: Path, table: FrameTable, **facts: int) -> Path:
    store = Store(kept)
    with StoreWriter(target, store.channels) as writer:
        writer.add(table)
        writer.facts = store.facts | facts
    return target


@pytest.mark.parametrize("plain", [False, True])
def test_what_was_kept_comes_again(pairing: Pairing, kept: Path, plain: bool) -> None:
    assert len(Store(kept).blocks) > 1
    done = replay_kept(pairing, kept, plain)
    table = Store(kept).read()
    assert done.difference == ""
    assert done.ticks == TICKS
    assert done.frames_in == int((table.bus < FIRST_SENT).sum())
    assert done.frames_out == int((table.bus >= FIRST_SENT).sum())


def test_a_changed_bit_is_found_at_its_tick(pairing: Pairing, kept: Path, tmp_path: Path) -> None:
    table = Store(kept).read()
    row = int((table.bus >= FIRST_SENT).nonzero()[0][-5])
    table.data[row, 2] ^= 0x10
    done = replay_kept(pairing, rewritten(kept, tmp_path / "bit.xlog", table))
    tick = int(table.time_us[row]) // (1000 * pairing.spec.tick_ms)
    assert done.difference.startswith(f"tick {tick}: sent ")


def test_a_missing_and_a_late_frame_are_found(pairing: Pairing, kept: Path, tmp_path: Path) -> None:
    table = Store(kept).read()
    row = int((table.bus >= FIRST_SENT).nonzero()[0][100])
    tick = int(table.time_us[row]) // (1000 * pairing.spec.tick_ms)
    rows = [number for number in range(len(table)) if number != row]
    done = replay_kept(pairing, rewritten(kept, tmp_path / "gone.xlog", table.rows(rows)))
    assert done.difference.startswith(f"tick {tick}: ")


@pytest.mark.parametrize("fact", ["rest_crc", "state_digest"])
def test_pins_and_state_are_compared(
    pairing: Pairing, kept: Path, tmp_path: Path, fact: str
) -> None:
    facts = {fact: int(Store(kept).facts[fact]) ^ 1}
    path = rewritten(kept, tmp_path / "facts.xlog", Store(kept).read(), **facts)
    assert "agree" in replay_kept(pairing, path).difference


def test_a_store_of_something_else_is_refused(pairing: Pairing, tmp_path: Path) -> None:
    with StoreWriter(tmp_path / "other.xlog", ("body",)):
        pass
    with pytest.raises(InputError, match="no kept drive of farm_pickup"):
        replay_kept(pairing, tmp_path / "other.xlog")
