"""Commands look for garbage seldom, whatever they run."""

import gc
from collections.abc import Iterator

import pytest
from click.testing import CliRunner

from hil.collecting import YOUNGEST
from tools.cli.main import main


@pytest.fixture
def thresholds_kept() -> Iterator[None]:
    before = gc.get_threshold()
    yield
    gc.set_threshold(*before)


@pytest.mark.usefixtures("thresholds_kept")
def test_a_command_collects_rarely() -> None:
    gc.set_threshold(700, 10, 10)
    CliRunner().invoke(main, ["pairing", "--help"])
    assert gc.get_threshold()[0] == YOUNGEST
