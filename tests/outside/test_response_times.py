"""Response times against the literature.

- The example that shows the analysis of 1994 to be optimistic: Davis, Burns, Bril, Lukkien,
  Real-Time Systems 35 (2007), section 3; its input is from memory, the results were also worked
  out with an independent scheduling library (pycpa).
- A small worked example of a stored article on the analysis (500 kbit/s): message C is not printed
  there with all its figures; its period follows from the printed load of 13.9 %.
- The SAE benchmark as in Tindell, Burns, Wellings, Control Engineering Practice 3 (1995): input
  table from memory, the figures for the old length formula at 125 kbit/s of priorities 17 to 5 too;
  all others worked out with exact fractions and with pycpa, which agree.
- Error recovery of 31 bit times: Bosch CAN FD specification 1.0 (2012). Bus-off recovery of 128
  times 11 bits: ISO 11898-1.
"""

from fractions import Fraction

import pytest

from tools.timing.frame_bits import ERROR_RECOVERY_BITS, longest_bits
from tools.timing.response import Disturbance, Stream, analyse, load


def stream(
    name: str, identifier: int, bits: int, period_us: int, deadline_us: int | None = None
) -> Stream:
    deadline = period_us if deadline_us is None else deadline_us
    return Stream(name, False, identifier, bits, period_us, 0, deadline, "others")


def test_the_first_instance_is_not_always_the_worst() -> None:
    """From memory: A 2.5 / 2.5 ms, B 3.5 / 3.25 ms, C 3.5 / 3.25 ms, 1 ms each at 125 kbit/s."""
    found = analyse(
        [
            stream("A", 1, 125, 2500),
            stream("B", 2, 125, 3500, 3250),
            stream("C", 3, 125, 3500, 3250),
        ],
        125_000,
    )
    assert [one.instances_us for one in found] == [(2000,), (3000, 1500), (3000, 3500)]
    assert [one.meets for one in found] == [True, True, False]
    assert found[2].sufficient_us is None  # the simple test does not vouch for it either


def test_above_full_load_there_is_no_bound() -> None:
    """The same set with B and C at 3.25 ms: load 1.015384..., first instances would still pass."""
    streams = [
        stream("A", 1, 125, 2500),
        stream("B", 2, 125, 3250),
        stream("C", 3, 125, 3250),
    ]
    assert float(load(streams, 125_000)) == pytest.approx(1.015384, abs=1e-6)
    found = analyse(streams, 125_000)
    assert [one.worst_us for one in found[:2]] == [2000, 3000]
    assert found[2].worst_us is None
    assert not found[2].meets


def test_small_worked_example() -> None:
    """Printed: A 420 us, D and E 1230 us, load 13.9 %."""
    streams = [
        stream("A", 0x001, longest_bits(2, False), 10_000),
        stream("B", 0x100, longest_bits(8, False), 5_000),
        stream("C", 0x200, longest_bits(8, False), 5_000),
        stream("D", 0x300, longest_bits(8, False), 20_000),
        stream("E", 0x700, longest_bits(8, False), 100_000),
    ]
    found = {one.stream.name: one.worst_us for one in analyse(streams, 500_000)}
    assert (found["A"], found["B"], found["D"], found["E"]) == (420, 690, 1230, 1230)
    assert float(load(streams, 500_000)) == pytest.approx(0.1392, abs=1e-4)


# priority (17 highest), octets, period ms, deadline ms; from memory
BENCHMARK = [
    (17, 1, 1000, 5),
    (16, 2, 5, 5),
    (15, 1, 5, 5),
    (14, 2, 5, 5),
    (13, 1, 5, 5),
    (12, 2, 5, 5),
    (11, 6, 10, 10),
    (10, 1, 10, 10),
    (9, 2, 10, 10),
    (8, 3, 10, 10),
    (7, 1, 100, 100),
    (6, 4, 100, 100),
    (5, 1, 100, 100),
    (4, 1, 100, 100),
    (3, 3, 1000, 1000),
    (2, 1, 1000, 1000),
    (1, 1, 1000, 1000),
]
RATES = (125_000, 250_000, 500_000, 1_000_000)

# priority: ms at the four bit rates with the old length formula, then with the new one
WITH_BACKGROUND = {
    17: (1.544, 0.772, 0.386, 0.193, 1.600, 0.800, 0.400, 0.200),
    16: (2.128, 1.064, 0.532, 0.266, 2.200, 1.100, 0.550, 0.275),
    14: (3.216, 1.608, 0.804, 0.402, 3.320, 1.660, 0.830, 0.415),
    13: (3.720, 1.860, 0.930, 0.465, 3.840, 1.920, 0.960, 0.480),
    11: (5.192, 2.596, 1.298, 0.649, 5.360, 2.680, 1.340, 0.670),
    10: (8.456, 2.848, 1.424, 0.712, 8.720, 2.940, 1.470, 0.735),
    8: (9.696, 3.468, 1.734, 0.867, 10.000, 3.580, 1.790, 0.895),
    7: (10.200, 3.720, 1.860, 0.930, 18.920, 3.840, 1.920, 0.960),
    5: (19.592, 4.340, 2.170, 1.085, 20.200, 4.480, 2.240, 1.120),
    4: (20.096, 4.592, 2.296, 1.148, 29.120, 4.740, 2.370, 1.185),
    2: (29.408, 5.172, 2.586, 1.293, 30.320, 6.760, 2.670, 1.335),
    1: (29.912, 6.804, 2.712, 1.356, 39.240, 7.020, 2.800, 1.400),
}
ALONE = {
    17: (1.392, 0.696, 0.348, 0.174, 1.440, 0.720, 0.360, 0.180),
    16: (1.976, 0.988, 0.494, 0.247, 2.040, 1.020, 0.510, 0.255),
    14: (3.064, 1.532, 0.766, 0.383, 3.160, 1.580, 0.790, 0.395),
    13: (3.568, 1.784, 0.892, 0.446, 3.680, 1.840, 0.920, 0.460),
    11: (4.888, 2.444, 1.222, 0.611, 5.040, 2.520, 1.260, 0.630),
    10: (5.392, 2.696, 1.348, 0.674, 8.400, 2.780, 1.390, 0.695),
    8: (9.392, 3.316, 1.658, 0.829, 9.680, 3.420, 1.710, 0.855),
    7: (9.896, 3.568, 1.784, 0.892, 10.200, 3.680, 1.840, 0.920),
    5: (19.208, 4.148, 2.074, 1.037, 19.800, 4.280, 2.140, 1.070),
    4: (19.712, 4.400, 2.200, 1.100, 20.320, 4.540, 2.270, 1.135),
    2: (28.872, 4.904, 2.452, 1.226, 29.760, 5.060, 2.530, 1.265),
    1: (28.872, 4.904, 2.452, 1.226, 29.760, 5.060, 2.530, 1.265),
}
LOADS = (0.8398, 0.4199, 0.2100, 0.1050, 0.8654, 0.4327, 0.2164, 0.1082)


def old_length(octets: int) -> int:
    """The length formula of 1994."""
    return (34 + 8 * octets) // 5 + 47 + 8 * octets


def new_length(octets: int) -> int:
    """The formula of 2007."""
    return longest_bits(octets, False)


@pytest.mark.parametrize("background", [False, True])
def test_the_benchmark_of_seventeen_messages(background: bool) -> None:
    expected = WITH_BACKGROUND if background else ALONE
    column = 0
    for length in (old_length, new_length):
        for rate in RATES:
            streams = [
                stream(str(priority), 18 - priority, length(octets), period * 1000, deadline * 1000)
                for priority, octets, period, deadline in BENCHMARK
            ]
            assert float(load(streams, rate)) == pytest.approx(LOADS[column], abs=6e-5)
            disturbance = Disturbance(length(8) if background else 0)
            found = {
                int(one.stream.name): one.worst_us for one in analyse(streams, rate, disturbance)
            }
            for priority, row in expected.items():
                worst = found[priority]
                assert worst is not None
                assert float(worst) / 1000 == pytest.approx(row[column], abs=5e-4)
            column += 1


def test_a_single_error_costs_recovery_and_the_longest_frame() -> None:
    """31 bit times are 62 us at 500 kbit/s; then the disturbed frame goes again."""
    only = stream("only", 1, 125, 10_000)
    (quiet,) = analyse([only], 500_000)
    (hit,) = analyse([only], 500_000, Disturbance(errors=1))
    assert quiet.worst_us == 250
    assert hit.worst_us == 250 + 62 + 250
    assert Fraction(ERROR_RECOVERY_BITS * 1_000_000, 500_000) == 62


def test_a_standard_frame_wins_against_an_extended_one_of_the_same_base() -> None:
    """ISO 11898-1; the order 33 (standard), 00CC0001, 123 (standard), 0CF00400 is published."""
    frames = [(True, 0x0CF00400), (False, 0x123), (True, 0x00CC0001), (False, 0x33)]
    streams = [
        Stream(f"{key:X}", extended, key, 100, 10_000, 0, 10_000, "others")
        for extended, key in frames
    ]
    order = [one.stream.name for one in analyse(streams, 500_000)]
    assert order == ["33", "CC0001", "123", "CF00400"]
    same_base = [
        Stream("extended", True, 0x123 << 18, 100, 10_000, 0, 10_000, "others"),
        Stream("standard", False, 0x123, 100, 10_000, 0, 10_000, "others"),
    ]
    assert analyse(same_base, 500_000)[0].stream.name == "standard"
