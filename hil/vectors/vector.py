"""The vector file: canonical text, one line for each tick in which something happens.

    vector 1
    id fan_on_loss
    title Fans run when the coolant data stops
    pairing farm_pickup SHA256
    rules 1
    tick_ms 1
    ticks 3000
    checkpoint_ticks 1000
    hunts deadline_off_by_one
    scenario fan_on_loss.scenario SHA256
    random -
    begin
    TICK|FRAMES IN|FRAMES OUT TO BODY|FRAMES OUT TO ENGINE|CHANGES
    end RECORDS CRC32

Empty fields at the end of a record are left out. A frame is `e:1A0:0011` or `b:123:`: bus, 3 or 8
hex digits of identifier, octets in hex; `:12` behind it is a raw length code above 8. Changes are
`r=watchdog,kept` (reset before the tick), inputs `p0=1` (level pin 0 electrically high), `a0=1200`
(counts), `s=8500` (supply in mV), `b1=2,0,0,0` (what the controller of bus 1 tells: error state,
frames acknowledged, unacknowledged, error frames, the last three in every tick from here), outputs
`P0=1`, `D0=4500` (duty), `F0=56667` (mHz), `H=1` (power hold), `C0=0` (command to bus 0), the
digest after the tick `d=89ABCDEF`, and in random vectors `x=SHA256` over all output since the
start. Inputs start as all zero, good buses and 12000 mV; outputs are all given at tick 0. The
CRC-32 goes over the records, so cut or edited files are noticed. Files above 200 kB are compressed,
with no time stamp inside, as `.vector.gz`.
"""

import gzip
import io
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import BinaryIO, cast

from hil.vectors.errors import VectorError, at_line
from hil.vectors.files import write_whole
from xlate_core.errors import readable, reason_of

FORMAT = 1
COMPRESS_ABOVE = 200_000  # octets of plain text
SUFFIXES = (".vector", ".vector.gz")
HEADER_KEYS = (
    "vector",
    "id",
    "title",
    "pairing",
    "rules",
    "tick_ms",
    "ticks",
    "checkpoint_ticks",
    "hunts",
    "scenario",
    "random",
)
CHUNK = 1 << 20
LONGEST_END = 64  # octets of the last line, generously


@dataclass(frozen=True, slots=True)
class RandomTraffic:
    """Traffic made by the generator instead of being stored; see random_traffic.py."""

    seed: int
    style: str


@dataclass(frozen=True, slots=True)
class Header:
    """What a vector says about itself."""

    identity: str
    title: str
    pairing: str
    pairing_digest: str
    rules: int
    tick_ms: int
    ticks: int
    checkpoint_ticks: int
    hunts: tuple[str, ...]
    scenario: str
    scenario_digest: str
    random: RandomTraffic | None


@dataclass(frozen=True, slots=True)
class Vector:
    """A loaded vector: header, and where its records are; they are read while they run."""

    path: Path
    header: Header
    records: int
    first_octet: int  # of the first record in the plain text
    first_line: int  # line number of the first record, for errors

    def lines(self) -> Iterator[str]:
        """Yield the records as text."""
        with open_text(self.path) as stream:
            stream.seek(self.first_octet)
            text = io.TextIOWrapper(stream, encoding="ascii", newline="\n")
            yield from islice(text, self.records)


def render_header(header: Header) -> bytes:
    """Return the header of a vector as octets, `begin` included."""
    random = f"seed {header.random.seed} style {header.random.style}" if header.random else "-"
    values = (
        str(FORMAT),
        header.identity,
        header.title,
        f"{header.pairing} {header.pairing_digest}",
        str(header.rules),
        str(header.tick_ms),
        str(header.ticks),
        str(header.checkpoint_ticks),
        " ".join(header.hunts) or "-",
        f"{header.scenario} {header.scenario_digest}",
        random,
    )
    head = "".join(f"{key} {value}\n" for key, value in zip(HEADER_KEYS, values, strict=True))
    return f"{head}begin\n".encode()


def render_end(records: int, crc: int) -> bytes:
    """Return the last line of a vector."""
    return f"end {records} {crc:08X}\n".encode("ascii")


def render(header: Header, records: Sequence[str]) -> bytes:
    """Return the canonical text of a vector as octets."""
    body = "\n".join([*records, ""]).encode("ascii")
    return render_header(header) + body + render_end(len(records), zlib.crc32(body))


def file_content(text: bytes) -> tuple[str, bytes]:
    """Return the suffix a vector's text is stored under and the octets of the file."""
    if len(text) <= COMPRESS_ABOVE:
        return SUFFIXES[0], text
    return SUFFIXES[1], gzip.compress(text, compresslevel=9, mtime=0)


def write_vector(folder: Path, identity: str, text: bytes) -> Path:
    """Write a vector of this text into a folder, whole or not at all; return its path."""
    return put_vector(folder, identity, *file_content(text))


def put_vector(folder: Path, identity: str, suffix: str, content: bytes) -> Path:
    """Write the file of a vector into a folder, whole or not at all; return its path.

    A file of the same vector under the other suffix is removed.
    """
    path = folder / f"{identity}{suffix}"
    write_whole(path, content)
    for other in SUFFIXES:
        if other != suffix:
            (folder / f"{identity}{other}").unlink(missing_ok=True)
    return path


def open_text(path: Path) -> BinaryIO:
    """Open a vector's plain text for reading."""
    if path.name.endswith(".gz"):
        return cast(BinaryIO, gzip.open(path, "rb"))
    return path.open("rb")


def load_vector(path: Path) -> Vector:
    """Read and check a vector file; raises VectorError with one sentence."""
    try:
        with open_text(path) as stream:
            head = []
            for _ in range(len(HEADER_KEYS) + 1):
                line = stream.readline(4096)
                head.append(line)
                if line == b"begin\n" or not line.endswith(b"\n"):
                    break
            first_octet = sum(len(line) for line in head)
            values = header_values(path, [line.rstrip(b"\n").decode("utf-8") for line in head])
            records, crc, last = checked_body(stream)
    except FileNotFoundError:
        raise VectorError(f"{path}: no such vector file") from None
    except UnicodeDecodeError:
        raise VectorError(f"{path}: the header is no UTF-8 text; expected a vector") from None
    except (OSError, EOFError, zlib.error) as error:
        raise VectorError(
            f"{path}: cannot be read ({reason_of(error)}); expected a whole vector"
        ) from None
    expected = render_end(records, crc)
    if not last.endswith(b"\n") or not last.startswith(b"end "):
        raise VectorError(f"{path}: cut short; expected a last line `end RECORDS CRC32`")
    if last != expected:
        found, wanted = last.decode("ascii", "replace").strip(), expected.decode("ascii").strip()
        raise VectorError(
            f"{path}: the records were changed: last line is `{found}`, the records say "
            f"`{wanted}`; generate the vector again"
        )
    header = parse_header(path, values)
    return Vector(path, header, records, first_octet, len(HEADER_KEYS) + 2)


def checked_body(stream: BinaryIO) -> tuple[int, int, bytes]:
    """Return number and CRC-32 of the records, and the last line."""
    tail = b""
    crc = records = 0
    while chunk := stream.read(CHUNK):
        data = tail + chunk
        cut = max(0, len(data) - LONGEST_END)
        tail = data[cut:]
        crc = zlib.crc32(data[:cut], crc)
        records += data.count(b"\n", 0, cut)
    place = tail.rfind(b"end ")
    if place < 0:
        return records, crc, b""
    crc = zlib.crc32(tail[:place], crc)
    return records + tail.count(b"\n", 0, place), crc, tail[place:]


def header_values(path: Path, lines: list[str]) -> dict[str, str]:
    """Return key and value of each header line; they have one order."""
    values: dict[str, str] = {}
    for index, key in enumerate(HEADER_KEYS):
        line = lines[index] if index < len(lines) else ""
        found, _, value = line.partition(" ")
        if found != key:
            shown = f"`{readable(found)}`" if line else "nothing"
            raise VectorError(at_line(path, index + 1, f"found {shown}; expected `{key} ...`"))
        if key == "vector" and value != str(FORMAT):
            message = f"format {value} found; this program reads format {FORMAT}"
            raise VectorError(at_line(path, 1, message))
        values[key] = value
    extra = len(HEADER_KEYS)
    if len(lines) <= extra or lines[extra] != "begin":
        lines = [*lines, "the end of the file"]
        message = f"found `{lines[extra]}`; expected `begin`"
        raise VectorError(at_line(path, extra + 1, message))
    return values


def number(path: Path, key: str, text: str) -> int:
    """Return a non-negative header number."""
    if not text.isascii() or not text.isdigit():
        raise VectorError(f"{path}: header `{key} {text}`; expected a whole number")
    return int(text)


def parse_header(path: Path, values: dict[str, str]) -> Header:
    """Return the header of its lines' values."""
    pairing, _, pairing_digest = values["pairing"].partition(" ")
    scenario, _, scenario_digest = values["scenario"].partition(" ")
    random = None
    if values["random"] != "-":
        words = values["random"].split(" ")
        if len(words) != 4 or words[0] != "seed" or words[2] != "style":
            found = values["random"]
            raise VectorError(f"{path}: header `random {found}`; expected `seed N style STYLE`")
        random = RandomTraffic(number(path, "random seed", words[1]), words[3])
    return Header(
        identity=values["id"],
        title=values["title"],
        pairing=pairing,
        pairing_digest=pairing_digest,
        rules=number(path, "rules", values["rules"]),
        tick_ms=number(path, "tick_ms", values["tick_ms"]),
        ticks=number(path, "ticks", values["ticks"]),
        checkpoint_ticks=number(path, "checkpoint_ticks", values["checkpoint_ticks"]),
        hunts=() if values["hunts"] == "-" else tuple(values["hunts"].split(" ")),
        scenario=scenario,
        scenario_digest=scenario_digest,
        random=random,
    )


def check_fits(vector: Vector, pairing_digest: str, rules: int, tick_ms: int) -> None:
    """Raise VectorError when the vector was made for another pairing content or other rules."""
    header = vector.header
    if header.rules != rules:
        raise VectorError(
            f"{vector.path}: made for rules {header.rules}; this program obeys rules {rules}"
        )
    if header.pairing_digest != pairing_digest:
        raise VectorError(
            f"{vector.path}: made for pairing {header.pairing} {header.pairing_digest[:12]}; "
            f"expected {pairing_digest[:12]}: the pairing changed, generate the vector again"
        )
    if header.tick_ms != tick_ms:
        raise VectorError(f"{vector.path}: tick_ms {header.tick_ms}; expected {tick_ms}")
