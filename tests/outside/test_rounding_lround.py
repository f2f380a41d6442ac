"""The one division against the C library's lround: halves away from zero (rule 4).

Sources: ISO C (ISO/IEC 9899) 7.12.9.7, lround "rounding halfway cases away from zero", called in
the machine's own C library; the table sets it against the other roundings in use, which the rule
does not choose: Python's round (half to even) and the truncation of a C cast.
"""

import ctypes
import math
import random

import pytest

from xlate_core.arithmetic import divide

# Numerator over 2, half to even, half away from zero, truncated.
TABLE = [
    (1, 0, 1, 0),
    (3, 2, 2, 1),
    (7, 4, 4, 3),
    (-1, 0, -1, 0),
    (-5, -2, -3, -2),
    (-7, -4, -4, -3),
]


@pytest.mark.parametrize(("halves", "even", "away", "truncated"), TABLE)
def test_halves_go_away_from_zero(halves: int, even: int, away: int, truncated: int) -> None:
    assert divide(halves, 2) == away
    assert (round(halves / 2), math.trunc(halves / 2)) == (even, truncated)


def test_binary_fractions_against_the_c_library() -> None:
    library = ctypes.CDLL(None)
    if not hasattr(library, "lround"):
        pytest.skip("the C library of this machine shows no lround")
    lround = library.lround
    lround.argtypes, lround.restype = [ctypes.c_double], ctypes.c_long
    rng = random.Random("lround")
    for _ in range(5000):
        denominator = 1 << rng.randrange(12)  # a double holds these fractions exactly
        numerator = rng.randint(-(2**31) + 4096, 2**31 - 4096)
        assert divide(numerator, denominator) == lround(numerator / denominator)
        tie = numerator * denominator + denominator // 2
        if abs(tie) < 2**53 and abs(numerator) < 2**31 - 1:
            assert divide(tie, denominator) == lround(tie / denominator)
