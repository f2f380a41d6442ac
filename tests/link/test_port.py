"""Opening lines: every failure is a sentence that says what helps; a byte log holds all of it."""

import errno
import os
import sys
from pathlib import Path

import pytest

from hil.boards.interface import BoardError
from hil.boards.serial_line import candidates, is_port_name, resolve
from hil.link.listing import listing
from hil.link.pacing import PacedPort
from hil.link.port import ByteLog, LoggedPort, SerialPort, open_port, opening_failure, read_log
from xlate_core.errors import InputError

pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a pseudo-terminal")


@pytest.mark.parametrize(
    ("number", "part"),
    [
        (errno.ENOENT, "no such port"),
        (errno.EACCES, "permission denied"),
        (errno.EBUSY, "in use by another program"),
        (errno.EIO, "cannot be opened"),
    ],
)
def test_every_failure_to_open_has_its_sentence(number: int, part: str) -> None:
    said = opening_failure("/dev/null", OSError(number, os.strerror(number)))
    assert part in said
    assert said.startswith("/dev/null: ")


@pytest.mark.skipif(sys.platform == "win32", reason="groups are a matter of POSIX")
def test_permission_names_the_group_that_may() -> None:
    import grp

    group = grp.getgrgid(Path("/dev/null").stat().st_gid).gr_name
    said = opening_failure("/dev/null", PermissionError(errno.EACCES, "Permission denied"))
    assert f"group `{group}`" in said
    assert "usermod" in said


@pty
def test_a_port_is_ours_alone_and_its_loss_is_noticed() -> None:
    ours, theirs = os.openpty()
    name = os.ttyname(theirs)
    port = SerialPort(name)
    try:
        with pytest.raises(BoardError, match="in use by another program"):
            SerialPort(name)
        os.write(ours, b"abc\0def")
        octets = b""
        while len(octets) < 7:
            octets += port.read(5)
        assert octets == b"abc\0def"
        assert port.read(0.01) == b""
        port.write(b"xyz")
        assert os.read(ours, 10) == b"xyz"
        os.close(theirs)
        os.close(ours)
        with pytest.raises(BoardError, match="the port is gone"):
            port.read(0.2)
    finally:
        port.close()


@pytest.mark.parametrize(
    "url", ["/dev/ttyNOWHERE9", "nonsense://there", "socket://host", "COM9999"]
)
def test_what_cannot_be_opened_is_one_sentence(url: str) -> None:
    with pytest.raises((BoardError, InputError)) as caught:
        open_port(url)
    assert "\n" not in str(caught.value)
    assert url in str(caught.value)


def test_names_and_selectors_are_told_apart() -> None:
    for name in ("/dev/ttyACM0", "COM12", "socket://h:1", "rfc2217://h:1", "loop://"):
        assert is_port_name(name)
        assert resolve(name) == name
    for name in ("0483:374B", "066BFF3031", "1-1.4"):
        assert not is_port_name(name)
        with pytest.raises(BoardError, match="xlate board list"):
            resolve(name)
    assert all(one.device for one in candidates())


class Echo:
    """A port that gives back what it gets."""

    name = "echo"

    def __init__(self) -> None:
        self.held = b""

    def write(self, octets: bytes) -> None:
        self.held += octets

    def read(self, timeout_s: float) -> bytes:
        del timeout_s
        octets, self.held = self.held, b""
        return octets

    def close(self) -> None:
        pass


def test_a_byte_log_holds_both_directions_and_survives_a_tear(tmp_path: Path) -> None:
    path = tmp_path / "bytes.log"
    port = LoggedPort(Echo(), ByteLog(path))
    port.write(b"\0\1\2")
    assert port.read(0) == b"\0\1\2"
    assert port.read(0) == b""
    port.close()
    assert [(way, octets) for way, _, octets in read_log(path)] == [
        (b">", b"\0\1\2"),
        (b"<", b"\0\1\2"),
    ]
    assert [line.split()[-3:] for line in listing([(b">", 7, b"\5\1\0")])] == [
        [">", "damaged", "packet"]
    ]
    path.write_bytes(path.read_bytes()[:-1])
    assert len(read_log(path)) == 1


def test_a_paced_line_delivers_everything_in_order() -> None:
    line = PacedPort(Echo(), baud=1_000_000, latency_s=0.001)
    sent = bytes(range(256)) * 4
    line.write(sent)
    got = b""
    while len(got) < len(sent):
        got += line.read(1.0)
    assert got == sent
    assert (line.octets_out, line.octets_in) == (len(sent), len(sent))
