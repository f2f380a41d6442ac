"""Broken copies of the core: each fits, and vectors of the table see those of its reactions."""

from pathlib import Path

import pytest

from hil.boards.options import BoardOptions
from hil.boards.registry import open_board
from hil.firmware.building import CORE
from tests.failsafe.tables import REQUIRED, builder_of, rows_of
from tools.environment import C_COMPILER
from tools.failsafe.broken_copies import COPIES, Broken, try_copies
from tools.failsafe.evidence import prove
from tools.failsafe.folding import fold


@pytest.mark.parametrize("copy", COPIES, ids=lambda copy: copy.words.replace(" ", "_"))
def test_a_broken_copy_changes_one_place_of_the_core(copy: Broken) -> None:
    assert (CORE / copy.file).read_text(encoding="utf-8").count(copy.right) == 1
    assert copy.wrong != copy.right


@pytest.mark.slow
@pytest.mark.skipif(not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}")
def test_a_vector_sees_the_broken_reactions_it_shows_and_no_others(tmp_path: Path) -> None:
    """The warm engine of the smallest pairing loses its data: deadline, hold, substitute, fan."""
    builder = builder_of(REQUIRED.read_text(encoding="utf-8"), tmp_path)
    rows = rows_of(builder, "lost")
    board = open_board("reference", builder.names.pairing, BoardOptions())
    proofs = list(
        prove(builder, fold(rows), rows, tmp_path, {"reference": board}, lambda done, total: None)
    )
    vectors = [tmp_path / proof.vector for proof in proofs]
    found = try_copies(
        builder.names.pairing, builder.names.names, vectors, lambda done, total: None
    )
    assert list(found) == [proof.vector for proof in proofs]
    seen = {words for tried in found.values() for words, caught in tried.items() if caught}
    assert seen == {
        "a deadline never ends",
        "a hold never ends",
        "lost data is never substituted",
        "the fan does not see a loss",
    }
    tried = set(found[proofs[0].vector])
    assert "the starter goes on without permission" not in tried  # it has no starter
    assert "a wrong checksum is accepted" in tried - seen
    assert "a fault never matures" in tried - seen  # it counts frames, and none come
