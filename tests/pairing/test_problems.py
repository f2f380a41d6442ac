"""All problems in one run, and files that are not what they should be."""

from pathlib import Path

import pytest

from tests.pairing.small import write
from tests.pairing.spoiled import BODY, BRIDGE, ENGINE, problems_of
from xlate_core.pairing import PairingError, load


def test_all_problems_come_in_one_run_in_the_order_of_lines(tmp_path: Path) -> None:
    folder = write(
        tmp_path,
        (BRIDGE, "hold_ms = 100", "hold_mss = 99"),
        (BRIDGE, 'coolant = "coolant"', 'coolant = "colant"'),
        (BRIDGE, "deadline_ms = 50\n", "deadline_ms = 51\n"),
        (ENGINE, "(0.5,0)", "(0,0)"),
        (BODY, "Wish : 0|8", "Wish : 12|8"),
    )
    problems = problems_of(folder)
    assert [(problem.file, problem.key_path) for problem in problems] == [
        (BRIDGE, "receive.engine.MOTOR.deadline_ms"),
        (BRIDGE, "quantity.speed.hold_mss"),
        (BRIDGE, "function[0].coolant"),
        (BODY, "WISH.Wish"),
        (ENGINE, "MOTOR.Torque"),
    ]


@pytest.mark.parametrize(
    "octets", [b"", b"\x7fELF\x02\x01\x01" + bytes(200), b"%PDF-1.7\n%\xe2\xe3"]
)
def test_an_alien_database_is_one_clear_problem(octets: bytes, tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / ENGINE).write_bytes(octets)
    (problem,) = problems_of(folder)
    assert problem.file == ENGINE
    assert "DBC file" in problem.expected
    assert str(problem).isprintable()


def test_a_database_cut_anywhere_is_never_a_traceback(tmp_path: Path) -> None:
    folder = write(tmp_path)
    whole = (folder / ENGINE).read_bytes()
    refused = 0
    for length in range(0, len(whole), 7):
        (folder / ENGINE).write_bytes(whole[:length])
        try:
            load(folder)
        except PairingError:
            refused += 1
    assert refused > len(whole) // 7 // 2


def test_a_missing_folder_is_one_problem(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path / "nowhere")
    assert (problem.file, problem.line) == (BRIDGE, None)
    assert problem.expected == "a readable file bridge.toml in nowhere"


def test_octets_that_are_no_text_are_told_with_their_line(tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / BRIDGE).write_bytes(b'format = 1\nname = "\xff"\n')
    (problem,) = problems_of(folder)
    assert (problem.line, problem.found, problem.expected) == (2, "octet 0xFF", "text in UTF-8")


def test_the_message_names_the_folder_and_a_pairing_of_a_like_name(tmp_path: Path) -> None:
    folder = write(tmp_path, ("bridge.toml", "hold_ms = 100", "hold_mss = 100"))
    with pytest.raises(PairingError) as caught:
        load(folder)
    assert str(caught.value).startswith(f"{folder.as_posix()}/bridge.toml:")
    with pytest.raises(PairingError, match=r"in smal; nearest valid name: small$"):
        load(tmp_path / "smal")
