"""A line that misbehaves, seeded: drops, doubles, changes, delays, inserts and cuts octets.

It stands between the host and a board's line. The same seed and the same traffic give the same
trouble; nothing here waits, a delayed piece comes with the next reading.
"""

from dataclasses import dataclass
from random import Random

from hil.boards.interface import BoardError
from hil.link.port import Port

LONGEST_PIECE = 40


@dataclass(frozen=True, slots=True)
class Trouble:
    """How often, in thousandths of the pieces handed over, something happens to one."""

    drop: int = 20
    double: int = 20
    change: int = 20
    delay: int = 20
    insert: int = 10
    cut: int = 1


@dataclass(slots=True)
class Happened:
    """What was done."""

    dropped: int = 0
    doubled: int = 0
    changed: int = 0
    delayed: int = 0
    inserted: int = 0
    cut: int = 0

    @property
    def total(self) -> int:
        """All of it together."""
        return self.dropped + self.doubled + self.changed + self.delayed + self.inserted + self.cut


class DisturbedPort:
    """A port with trouble in both directions."""

    def __init__(self, port: Port, seed: int, trouble: Trouble, happened: Happened) -> None:
        """Put trouble around a port."""
        self.name = port.name
        self._port = port
        self._trouble = trouble
        self._random = Random(seed)
        self._happened = happened
        self._late_out = b""
        self._late_in = b""

    def write(self, octets: bytes) -> None:
        """Hand octets over, more or less."""
        sent, self._late_out = self._disturbed(self._late_out, octets)
        if sent:
            self._port.write(sent)

    def read(self, timeout_s: float) -> bytes:
        """Return what arrived, more or less."""
        if self._late_out:
            self._port.write(self._late_out)
            self._late_out = b""
        octets = self._port.read(0 if self._late_in else timeout_s)
        got, self._late_in = self._disturbed(self._late_in, octets)
        return got

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def _disturbed(self, late: bytes, octets: bytes) -> tuple[bytes, bytes]:
        """Return what gets through now and what comes later. A piece holds about a short packet."""
        if not octets:
            return late, b""
        out = bytearray(late)
        happened, chance = self._happened, self._random
        place = 0
        while place < len(octets):
            piece = bytearray(octets[place : place + chance.randint(1, LONGEST_PIECE)])
            place += len(piece)
            draw = chance.randrange(1000)
            trouble = self._trouble
            for name, share in (
                ("dropped", trouble.drop),
                ("doubled", trouble.double),
                ("changed", trouble.change),
                ("delayed", trouble.delay),
                ("inserted", trouble.insert),
                ("cut", trouble.cut),
            ):
                if draw < share:
                    setattr(happened, name, getattr(happened, name) + 1)
                    if name == "delayed":
                        return bytes(out), bytes(piece + octets[place:])
                    self._damage(name, piece)
                    break
                draw -= share
            out += piece
        return bytes(out), b""

    def _damage(self, what: str, piece: bytearray) -> None:
        """Do one thing to a piece."""
        chance = self._random
        at = chance.randrange(len(piece))
        if what == "dropped":
            del piece[at : at + chance.randint(1, 8)]
        elif what == "doubled":
            end = at + chance.randint(1, LONGEST_PIECE)
            piece[at:end] = 2 * piece[at:end]
        elif what == "changed":
            for _ in range(chance.randint(1, 4)):
                piece[chance.randrange(len(piece))] ^= chance.randint(1, 255)
        elif what == "inserted":
            piece[at:at] = chance.randbytes(chance.randint(1, 12))
        else:
            self._port.close()
            raise BoardError(f"{self.name}: the line is gone (cut on purpose)")
