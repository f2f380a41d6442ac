"""What a session tells of its board and itself: identity, timing, counts, and sentences."""

from dataclasses import dataclass, field
from typing import NamedTuple

from construct import ConstructError

from hil.boards.interface import BoardProtocolError
from hil.link import layouts
from hil.link.framing import Packet
from hil.link.layouts import LINK_VERSION, Refusal
from xlate_core.interface import ResetCause

SPARE = 128
"""Octets of the board's ring left free for packets without a number."""
SMALLEST_PACKET = 128


class Timing(NamedTuple):
    """How long to wait, in seconds.

    For an answer to hello in all and before the first repeat of it; then before polling, and at
    most without progress.
    """

    hello_s: float = 3.0
    patience_s: float = 0.3
    timeout_s: float = 5.0
    first_hello_s: float = 0.25


class Hello(NamedTuple):
    """What a board says of itself."""

    board: str
    link: int
    firmware: tuple[int, int, int]
    rules: int
    tick_ms: int
    image_octets: int
    packet_octets: int
    slots: int
    ring: int
    boots: int
    cause: int
    pairing: str


class Reply(NamedTuple):
    """A reply, with the check registers it can be compared against (see PROTOCOL.md)."""

    kind: int
    payload: bytes
    last: bool
    requests_check: int
    replies_check: int


@dataclass(slots=True)
class Counts:
    """What the host saw of the line; what the board counted comes in its status."""

    packets_sent: int = 0
    packets_received: int = 0
    octets_sent: int = 0
    repeated_requests: int = 0
    polls: int = 0
    strangers: int = 0
    board: dict[str, int] = field(default_factory=dict)


def read_identity(packet: Packet, name: str) -> Hello:
    """Return what a board said of itself; raises BoardProtocolError when it makes no sense."""
    try:
        said = layouts.IDENTITY.parse(packet.payload)
    except ConstructError:
        said = None
    if said is None or said.link != LINK_VERSION:
        found = packet.payload[0] if packet.payload else 0
        raise BoardProtocolError(
            f"{name}: the board speaks link version {found}, expected {LINK_VERSION}"
        )
    hello = Hello(
        board=said.board.rstrip(b"\0").decode("ascii", "replace"),
        link=said.link,
        firmware=(said.firmware_major, said.firmware_minor, said.firmware_patch),
        rules=said.rules,
        tick_ms=said.tick_ms,
        image_octets=said.image_octets,
        packet_octets=said.packet_octets,
        slots=said.slots,
        ring=said.ring_octets,
        boots=said.boots,
        cause=said.cause,
        pairing=said.pairing.hex(),
    )
    if hello.packet_octets < SMALLEST_PACKET or hello.slots < 2 or hello.ring < 2 * SPARE:
        raise BoardProtocolError(f"{name}: the board's sizes make no sense: {hello}")
    return hello


def silence(name: str, waited_s: float, octets: int) -> str:
    """Return a sentence about a board that did not answer hello; `octets` came meanwhile."""
    waited = f"within {waited_s:g} s"
    if octets:
        return (
            f"{name}: {octets} octets came {waited}, none an answer to hello: another bit rate, "
            "or no xlate firmware"
        )
    return f"{name}: silent {waited}: no power, another port, or no xlate firmware on it"


def refusal(packet: Packet, name: str) -> str:
    """Return a sentence about a refused request."""
    try:
        said = layouts.REFUSED.parse(packet.payload)
        reason = Refusal(said.reason).name.lower().replace("_", " ")
    except (ConstructError, ValueError):
        return f"{name}: the board refused a request"
    return f"{name}: the board refused a request at octet {said.place}: {reason}"


def restarted(name: str, hello: Hello, boots: int, cause: int) -> str:
    """Return a sentence about a restart."""
    causes = [one.name.lower().replace("_", " ") for one in ResetCause]
    why = causes[cause] if cause < len(causes) else f"cause {cause}"
    return (
        f"{name}: the board restarted in the middle (start {hello.boots}, now start {boots}, "
        f"reset cause {why})"
    )
