"""Resistor ladders of cruise buttons against published resistances.

Sources: Lexus LS460 2007, Kia Optima 2017 and Suzuki Aerio 2006 service manuals as stored public
pages. Counts: 12-bit converter, 1 kilohm to its reference, to the nearest count; recomputed.
"""

import itertools
from fractions import Fraction

import pytest

from xlate_core.pairing.analogue import contact_counts
from xlate_core.pairing.schema_inputs import ContactTable
from xlate_core.pins import AnalogueInputSpec, BandSpec, Reading, measure

# button, resistance in ohm, counts
READINGS = (
    ("MAIN", ["0", "2.5"], (0, 10)),
    ("RES+", ["235", "245"], (779, 806)),
    ("CANCEL", ["1509", "1571"], (2463, 2502)),
    ("neutral", ["1000000"], (4091, 4095)),
)
# Kia Optima 2017, 5 %: CANCEL, SET-, RES+, CRUISE, mode
CLOSE = (180, 330, 550, 880, 2540)


def counts_of(ohm: list[str], full_scale: int = 4095) -> tuple[int, int]:
    contact = ContactTable.model_validate({"value": 1, "ohm": ohm})
    return contact_counts(contact, Fraction(1000), full_scale, 0)


@pytest.mark.parametrize(("button", "ohm", "counts"), READINGS)
def test_published_limits_give_the_counts(
    button: str, ohm: list[str], counts: tuple[int, int]
) -> None:
    assert counts_of(ohm) == counts, button


def test_the_contacts_are_told_apart_at_every_count() -> None:
    bands = tuple(BandSpec(*counts, number) for number, (_, _, counts) in enumerate(READINGS))
    spec = AnalogueInputSpec("stalk", ((0, 0),), (0, 65535), 0, bands)
    for counts in range(4096):
        inside = [
            number for number, (_, _, (low, high)) in enumerate(READINGS) if low <= counts <= high
        ]
        expected = (inside[0], Reading.GOOD) if inside else (None, Reading.BETWEEN)
        assert measure(spec, counts) == expected


def test_five_percent_contacts_leave_gaps() -> None:
    """The second ladder: even with 5 % on each resistor no two buttons touch."""
    bands = [
        counts_of([str(ohm * Fraction(95, 100)), str(ohm * Fraction(105, 100))]) for ohm in CLOSE
    ]
    for left, right in itertools.pairwise(bands):
        assert right[0] - left[1] > 1


def test_one_contact_alone() -> None:
    """The third ladder: about 3900 ohm when pressed; 4095 * 3900/4900 = 3259.3."""
    assert counts_of(["3900", "3900"]) == (3259, 3259)
