"""Every stored vector on the board native, bit for bit."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.runner import find_vectors
from tests.link.helpers import VECTORS
from tools.cli.main import main


@pytest.mark.long(30)
@pytest.mark.slow
def test_the_whole_corpus_passes_on_native(tmp_path: Path) -> None:
    report = tmp_path / "report.json"
    words = ["vectors", "run", str(VECTORS), "--board", "native", "--json", str(report)]
    result = CliRunner().invoke(main, [*words, "--out", str(tmp_path)])
    assert result.exit_code == 0, result.output
    ran = json.loads(report.read_text(encoding="utf-8"))
    assert ran["counts"]["pass"] == len(find_vectors([VECTORS], VECTORS))
    assert not any(one["unstable"] for one in ran["vectors"])
