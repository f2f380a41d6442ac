"""Counter-plus-CRC profiles of drawn messages: where their parts lie, and their table."""

from dataclasses import dataclass
from random import Random

PARTS = ("Check", "Count", "IdHigh")
LEAST_OCTETS = 4


@dataclass(frozen=True, slots=True)
class DrawnProfile:
    """A drawn profile: first bit and length of each part, and the keys of both directions."""

    parts: tuple[tuple[str, int, int], ...]
    keys: str
    modulo: int
    grows: bool


def draw_profile(chance: Random, length: int) -> DrawnProfile:
    """Return a profile that fits a message of at least LEAST_OCTETS octets."""
    number = chance.choice((1, 1, 2, 5, 11, 22))
    modes = {1: ("both", "alternating", "low", "nibble"), 11: ("both", "nibble")}
    mode = chance.choice(modes.get(number, ("",)))
    keys = f'number = {number}, checksum = "Check", counter = "Count"'
    if number in (2, 22):
        keys += f", data_ids = {[chance.randrange(256) for _ in range(16)]}"
    else:
        most = {"low": 0x100, "nibble": 0x1000}.get(mode, 0x10000)
        keys += f", data_id = {chance.randrange(most)}"
    if mode:
        keys += f', data_id_mode = "{mode}"'
    if mode == "nibble":
        keys += ', nibble = "IdHigh"'
    modulo = {1: 15, 2: 16, 5: 256, 11: 15, 22: 16}[number]
    parts = _parts(chance, number, length)
    return DrawnProfile(parts if mode == "nibble" else parts[:2], keys, modulo, number in (1, 2))


def _parts(chance: Random, number: int, length: int) -> tuple[tuple[str, int, int], ...]:
    """Return name, first bit and length of CRC, counter and the data ID's part."""
    if number == 5:
        first = chance.randrange(length - 2)
        return (PARTS[0], 8 * first, 16), (PARTS[1], 8 * first + 16, 8)
    if number == 1:
        octets = chance.sample(range(length), 2)
        halves = chance.sample((0, 4), 2)
        return (
            (PARTS[0], 8 * octets[0], 8),
            (PARTS[1], 8 * octets[1] + halves[0], 4),
            (PARTS[2], 8 * octets[1] + halves[1], 4),
        )
    first = 0 if number == 2 else chance.randrange(length - 1)
    behind = 8 * first + 8
    return (PARTS[0], 8 * first, 8), (PARTS[1], behind, 4), (PARTS[2], behind + 4, 4)


def profile_line(chance: Random, profile: DrawnProfile, tick_ms: int, received: bool) -> str:
    """Return the key of bridge.toml."""
    keys = profile.keys
    if received:
        keys += f", max_step = {1 + chance.randrange(min(profile.modulo - 1, 6))}"
        if profile.grows:
            keys += (
                f", max_without_new = {chance.randrange(4)}, sync_checks = {chance.randrange(4)}"
            )
        if chance.randrange(2):
            keys += f", period_ms = {tick_ms * (1 + chance.randrange(40))}"
        if chance.randrange(2):
            keys += f", machine = {_machine(chance, profile.grows)}"
    return f"profile = {{ {keys} }}"


def _machine(chance: Random, mapped: bool) -> str:
    window = chance.choice((1, 2, 3, 5, 10, 32))

    def limit() -> str:
        good, errors = chance.randrange(min(window, 4) + 1), chance.randrange(min(window, 3) + 1)
        return f"{{ min_ok = {good}, max_errors = {errors} }}"

    older = ", older_mapping = true" if mapped and chance.randrange(2) else ""
    return (
        f"{{ window = {window}, init = {limit()}, valid = {limit()}, invalid = {limit()}{older} }}"
    )
