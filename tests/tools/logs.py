"""Invented frames for the tests of log tools."""

from pathlib import Path

import numpy as np
from click.testing import CliRunner, Result

from tools.cli.main import main
from tools.logs.table import FrameKind, FrameTable, zeros


def xlate(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def refused(*arguments: str | Path) -> str:
    """The one message of a refused command; nothing may be on standard output."""
    result = xlate(*arguments)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    message = result.stderr.strip()
    assert len(message.splitlines()) == 1, message
    return message


def random_table(rows: int, seed: int, kinds: bool = True) -> FrameTable:
    """Frames of every kind, length and format, with many equal times."""
    chance = np.random.default_rng(seed)
    table = zeros(rows, ("body", "engine"))
    table.time_us[:] = np.cumsum(chance.integers(0, 3, rows)) + 1_700_000_000_000_000
    table.bus[:] = chance.integers(0, 2, rows)
    table.extended[:] = chance.random(rows) < 0.3
    table.identifier[:] = chance.integers(0, 40, rows) + np.where(table.extended, 1 << 20, 0)
    table.length[:] = chance.integers(0, 9, rows)
    if kinds:
        table.kind[:] = chance.choice([0, 0, 0, 0, 1, 2], rows)
    table.data[:] = chance.integers(0, 256, (rows, 8))
    table.data[:] *= np.arange(8)[None, :] < table.length[:, None]
    table.data[table.kind == FrameKind.REMOTE] = 0
    table.extended[table.kind == FrameKind.ERROR] = False
    return table
