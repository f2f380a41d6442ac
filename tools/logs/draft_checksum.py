"""A guessed checksum as bridge.toml writes it."""

from tools.logs.checksums import CATALOGUE
from tools.logs.inspection.findings import Guess

_NAMED_CRC8 = (
    "CRC-8/SAE-J1850",
    "CRC-8/SAE-J1850-ZERO",
    "CRC-8/AUTOSAR",
    "CRC-8/SMBUS",
    "CRC-8/MAXIM-DOW",
)
_KINDS = {
    "xor8": "xor8",
    "sum8": "sum8",
    "sum8 inverted": "sum8_inverted",
    "sum8 with carry": "sum8_carry",
    "xor4": "xor4",
    "sum4": "sum4",
}


def checksum_entry(guess: Guess) -> str:
    """Return the value of the key `checksum`, empty where the pairing language has none."""
    if guess.place is None:
        return ""
    fold = _fold(guess)
    arithmetic = _arithmetic(guess)
    if not arithmetic or fold is None:
        return ""
    octets = [int(octet) for octet in guess.facts["octets"]]
    first, last = octets[0], octets[-1]
    parts = ['signal = "Check"', arithmetic, f"first_octet = {first}", f"last_octet = {last}"]
    if fold:
        parts.append(f"fold = [{{ {fold} }}]")
    return "{ " + ", ".join(parts) + " }"


def _arithmetic(guess: Guess) -> str:
    """Return kind and parameters; an unknown constant of a CRC becomes its final value."""
    family = str(guess.facts["family"])
    if family in _KINDS:
        return f'kind = "{_KINDS[family]}"'
    if family in _NAMED_CRC8:
        return f'kind = "crc8", parameters = "{family}"'
    known = next((crc for crc in CATALOGUE if crc.name == family), None)
    if known is not None:
        numbers = (known.width, known.poly, known.init, known.reflected, known.xorout)
    elif guess.facts["fold"] == "unknown" and not guess.facts["folded_behind"]:
        told = guess.facts["relation"]
        width = 16 if told["family"] == "crc16" else 8
        numbers = (width, told["poly"], 0, told["reflected"], guess.facts["constant"])
    else:
        return ""
    width, poly, init, reflected, xorout = numbers
    table = (
        f"width = {width}, poly = 0x{poly:X}, init = 0x{init:X}, "
        f"reflected = {'true' if reflected else 'false'}, xorout = 0x{xorout:X}"
    )
    return f'kind = "crc", parameters = {{ {table} }}'


def _fold(guess: Guess) -> str | None:
    """Return the folded item, empty for none, None where it cannot be written."""
    fold = str(guess.facts["fold"])
    place = "after" if fold.endswith("after") else "before"
    if fold in ("none", "unknown"):
        return ""
    if fold.startswith("data_id list"):
        counters = [int(each) for each in guess.facts["counters"]]
        if counters != list(range(len(counters))):
            return None
        listed = ", ".join(f"0x{int(each):02X}" for each in guess.facts["data_ids"])
        return f'item = "data_id_list", place = "{place}", values = [{listed}]'
    if fold.startswith("data_id "):
        value = int(guess.facts["data_id"])
        return f'item = "data_id", place = "{place}", value = 0x{value:02X}, octets = 1'
    if fold.startswith("identifier ") and "," not in fold:
        octets = guess.facts.get("octets_folded", 2)
        low = "true" if guess.facts.get("low_first") else "false"
        what = 'item = "identifier"'
        if not guess.facts.get("whole", True):  # a part of the identifier is just a data ID
            what = f'item = "data_id", value = 0x{guess.facts["value"]:X}'
        return f'{what}, place = "{place}", octets = {octets}, low_first = {low}'
    if fold == "constant" and guess.facts["family"] in ("xor8", "sum8", "sum8 inverted"):
        constant = int(guess.facts["constant"])
        value = 255 - constant if guess.facts["family"] == "sum8 inverted" else constant
        return f'item = "data_id", place = "before", value = 0x{value:02X}, octets = 1'
    return None
