"""How many bit times a classic CAN data frame takes on the bus.

The bounds are equations (1) to (3) of Davis, Burns, Bril and Lukkien, "Controller Area Network
(CAN) schedulability analysis: refuted, revisited and revised", Real-Time Systems 35 (2007). The
exact length follows ISO 11898-1: a bit of opposite value is stuffed after five equal ones from
start of frame to the end of the checksum; delimiter, acknowledge, end of frame and the interframe
space are not stuffed.
"""

from functools import lru_cache
from itertools import groupby

INTERFRAME_BITS = 3
TAIL_BITS = 10  # checksum delimiter, acknowledge slot and delimiter, seven bits end of frame
CRC15_POLYNOMIAL = 0x4599
CRC15_BITS = 15
RUN = 5  # so many equal bits are followed by a stuff bit

ERROR_RECOVERY_BITS = 31
"""Error detection to the start of the next frame takes at most so long (Bosch CAN FD
specification 1.0, "Basic Concepts"; ISO 16845, test 8.5.14)."""


def stuffable_bits(extended: bool) -> int:
    """Return g: the bits exposed to stuffing that are not data."""
    return 54 if extended else 34


def longest_bits(octets: int, extended: bool) -> int:
    """Return the most bit times a frame of 0..8 octets takes, interframe space included."""
    exposed = stuffable_bits(extended) + 8 * octets
    return exposed + 13 + (exposed - 1) // 4


def shortest_bits(octets: int, extended: bool) -> int:
    """Return the bit times of a frame without one stuff bit, interframe space included."""
    return stuffable_bits(extended) + 8 * octets + 13


@lru_cache(maxsize=1 << 16)
def exact_bits(extended: bool, identifier: int, data: bytes) -> int:
    """Return the bit times of this very frame, interframe space included."""
    return len(stuffed(extended, identifier, data)) + TAIL_BITS + INTERFRAME_BITS


def stuffed(extended: bool, identifier: int, data: bytes) -> str:
    """Return the bits from start of frame to the end of the checksum, stuff bits included."""
    plain = header(extended, identifier, len(data)) + "".join(f"{octet:08b}" for octet in data)
    return stuff(plain + f"{crc15(plain):015b}")


def header(extended: bool, identifier: int, octets: int) -> str:
    """Return the bits from start of frame to the length code of a data frame."""
    if extended:
        # SRR and IDE recessive, then RTR and two reserved bits dominant.
        return f"0{identifier >> 18:011b}11{identifier & 0x3FFFF:018b}000{octets:04b}"
    # RTR, IDE and one reserved bit dominant.
    return f"0{identifier:011b}000{octets:04b}"


def crc15(bits: str) -> int:
    """Return the frame checksum over bits without stuff bits."""
    register = 0
    for bit in bits:
        top = register >> (CRC15_BITS - 1)
        register = (register << 1) & 0x7FFF
        if top != int(bit):
            register ^= CRC15_POLYNOMIAL
    return register


def stuff(bits: str) -> str:
    """Return the bits with a stuff bit after every five equal ones, stuff bits counting too."""
    out: list[str] = []
    run = 0
    for bit in bits:
        run = run + 1 if out and bit == out[-1] else 1
        out.append(bit)
        if run == RUN:
            out.append("1" if bit == "0" else "0")
            run = 1
    return "".join(out)


def longest_run(bits: str) -> int:
    """Return the length of the longest run of equal bits; at most 5 on a sound bus."""
    return max((len(list(run)) for _, run in groupby(bits)), default=0)
