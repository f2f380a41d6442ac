"""Vector files: canonical, complete, and refused with one sentence when they are not."""

import gzip
from pathlib import Path

import pytest

from hil.comparison import compare
from hil.vectors.errors import VectorError
from hil.vectors.records import Reader, read_frame, show_frame
from hil.vectors.vector import COMPRESS_ABOVE, check_fits, load_vector, write_vector
from hil.verdicts import Verdict, exit_code
from tests.vectors.broken import BrokenBoard
from tests.vectors.helpers import generated, names, text_of, vector
from xlate_core.frames import Frame

BODY = """\
send engine.STATE every 2 ms
set engine.STATE.Coolant 80
at 10 ms set input key_switch active
at 20 ms set supply 9000 mV
at 30 ms reset watchdog
at 40 ms length code 12 of engine.STATE
at 50 ms frame engine 00000123 -
"""


def test_what_is_written_is_read(tmp_path: Path) -> None:
    records = {one.tick: one for one in Reader(vector(tmp_path, BODY), names().pairing).records()}
    assert records[10].inputs.levels == (True,)
    assert records[20].inputs.supply_mv == 9000
    assert records[30].reset is not None
    assert records[30].reset[0].name == "WATCHDOG"
    assert records[30].reset[1] is True
    assert records[40].codes == ((0, 12),)
    assert len(records[40].frames[0].data) == 8
    assert records[50].frames[1] == Frame(1, True, 0x123, b"")
    assert records[99].digest is not None
    assert all(one.digest is None for tick, one in records.items() if tick != 99)


def test_the_same_scenario_gives_the_same_octets(tmp_path: Path) -> None:
    assert generated(tmp_path, BODY).content == generated(tmp_path, BODY).content


def test_ticks_without_events_are_not_stored(tmp_path: Path) -> None:
    text = generated(tmp_path, "").content.decode("ascii")
    ticks = [int(line.split("|")[0]) for line in text.split("begin\n")[1].splitlines()[:-1]]
    assert ticks == [0, 1, 11, 21, 31, 41, 51, 61, 71, 81, 91, 99]  # GAUGE, and the last digest


def test_checkpoints_come_every_n_ticks_and_at_the_end(tmp_path: Path) -> None:
    body = "checkpoints every 40 ms\n"
    records = Reader(vector(tmp_path, body), names().pairing).records()
    assert [one.tick for one in records if one.digest is not None] == [39, 79, 99]


@pytest.mark.parametrize(
    ("frame", "code", "text"),
    [
        (Frame(0, False, 0x123, b"\x00\x11"), 2, "b:123:0011"),
        (Frame(1, True, 0x123, b""), 0, "e:00000123:"),
        (Frame(1, False, 0x7FF, bytes(8)), 15, "e:7FF:0000000000000000:15"),
    ],
)
def test_frames_as_text(frame: Frame, code: int, text: str) -> None:
    assert show_frame(frame, code) == text
    assert read_frame(text) == (frame, code)


def test_long_vectors_are_compressed_without_a_time_stamp(tmp_path: Path) -> None:
    body = "send engine.STATE every 1 ms\n"
    result = generated(tmp_path, body, "9 s")
    assert len(text_of(result)) > COMPRESS_ABOVE
    (tmp_path / "sample.vector").write_bytes(b"of an earlier day")
    path = write_vector(tmp_path, "sample", text_of(result))
    assert path.name == "sample.vector.gz"
    assert not (tmp_path / "sample.vector").exists()
    assert path.read_bytes()[4:8] == bytes(4)
    assert path.read_bytes() == result.content
    assert compare(load_vector(path), names(), BrokenBoard()).difference is None


def refused(path: Path) -> str:
    with pytest.raises(VectorError) as caught:
        compare(load_vector(path), names(), BrokenBoard())
    text = str(caught.value)
    assert "\n" not in text
    assert path.name in text
    return text


def test_every_cut_of_a_vector_is_noticed(tmp_path: Path) -> None:
    sample = vector(tmp_path, BODY)
    whole = sample.path.read_bytes()
    for length in [*range(0, len(whole), 97), len(whole) - 1]:
        sample.path.write_bytes(whole[:length])
        refused(sample.path)


def test_what_stands_where_a_header_line_is_expected_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "sample.vector"
    path.write_bytes(b"vector 1\nid cut_short\n")
    assert refused(path) == f"{path}:3: found nothing; expected `title ...`"
    path.write_bytes(b"vector 1\nid cut_short\n\x1b[31mred \n")
    assert refused(path) == f"{path}:3: found `\\x1b[31mred`; expected `title ...`"
    path.unlink()
    path.mkdir()
    assert refused(path) == f"{path}: cannot be read (is a directory); expected a whole vector"


def test_a_cut_compressed_vector_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "sample.vector.gz"
    content = gzip.compress(generated(tmp_path, BODY).content, mtime=0)
    path.write_bytes(content[: len(content) // 2])
    assert "cannot be read" in refused(path)
    path.write_bytes(b"no gzip at all")
    assert "cannot be read" in refused(path)


def test_a_changed_octet_is_noticed(tmp_path: Path) -> None:
    sample = vector(tmp_path, BODY)
    whole = sample.path.read_bytes()
    sample.path.write_bytes(whole.replace(b"\n10|", b"\n11|", 1))
    assert "the records were changed" in refused(sample.path)


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        (b"vector 1\n", b"vector 2\n", "format 2"),
        (b"rules 1\n", b"rules x\n", "whole number"),
        (b"title", b"titel", "expected `title ...`"),
        (b"begin\n", b"begun\n", "expected `begin`"),
    ],
)
def test_a_bad_header_is_refused(tmp_path: Path, old: bytes, new: bytes, part: str) -> None:
    sample = vector(tmp_path, BODY)
    sample.path.write_bytes(sample.path.read_bytes().replace(old, new, 1))
    assert part in refused(sample.path)


@pytest.mark.parametrize(
    "record",
    ["5", "5|x:1:", "5|b:123:0", "5||||z9=1", "5||||r=sleep,kept", "5||||p7=1", "-1||||s=1", "x|"],
)
def test_an_unknown_record_is_refused_with_its_line(tmp_path: Path, record: str) -> None:
    from hil.vectors.vector import render

    sample = vector(tmp_path, "")
    sample.path.write_bytes(render(sample.header, ["0||||H=0", record, "99||||d=00000000"]))
    with pytest.raises(VectorError, match=r"sample\.vector:14: no record of a vector"):
        list(Reader(load_vector(sample.path), names().pairing).records())


def test_other_rules_pairings_and_ticks_are_refused(tmp_path: Path) -> None:
    sample = vector(tmp_path, "")
    digest = names().pairing.digest
    check_fits(sample, digest, 1, 1)
    for arguments, part in (
        ((digest, 2, 1), "rules 1"),
        (("f" * 64, 1, 1), "pairing minimal"),
        ((digest, 1, 5), "tick_ms 1"),
    ):
        with pytest.raises(VectorError, match=part):
            check_fits(sample, *arguments)


def test_exit_codes() -> None:
    assert exit_code([Verdict.PASS]) == 0
    assert exit_code([Verdict.PASS, Verdict.BENCH_FAULT, Verdict.MISMATCH]) == 1
    assert exit_code([Verdict.TIMEOUT, Verdict.NOT_RUN]) == 3
    assert exit_code([Verdict.PASS, Verdict.NOT_RUN]) == 4
    assert exit_code([]) == 4
