"""Thermistors against published resistance tables and formula values, with a stated error bound.

Sources beside each table: a sensor maker's data page and car makers' service tables as stored
public pages; the coefficient sets of the formula values are widely published, their results
recomputed independently. Nothing here is taken from the module under test.
"""

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest

from xlate_core.arithmetic import interpolate
from xlate_core.pairing.analogue import (
    Thermistor,
    law_in_steps,
    law_of,
    resistance,
    thermistor_curve,
)
from xlate_core.pairing.schema_inputs import ThermistorTable

# Mazda BT-50 service table, engine coolant sensor: degC, ohm, then degC of the law of Steinhart and
# Hart through the points at 0, 50 and 100 degC, and volts with 1 kilohm to 5 V.
SERVICE_A = (
    (-40, "48140", "-39.903", "4.8982"),
    (-30, "26740", "-29.937", "4.8198"),
    (-10, "9308", "-9.983", "4.5149"),
    (0, "5790", "0.000", "4.2636"),
    (20, "2450", "19.985", "3.5507"),
    (30, "1658", "29.984", "3.1189"),
    (50, "812.6", "50.000", "2.2415"),
    (60, "586.5", "60.008", "1.8484"),
    (80, "322.2", "80.018", "1.2184"),
    (90, "244.6", "90.014", "0.9826"),
    (110, "147.1", "109.966", "0.6412"),
    (120, "116.3", "119.916", "0.5209"),
)
SERVICE_A_LAW = ("1.222226202e-3", "2.763939610e-4", "6.784133018e-8")
# Jeep Compass 2021 service table, the same way.
SERVICE_B = (
    (-40, "48805", "-40.005", "4.8996"),
    (-30, "27414", "-30.003", "4.8240"),
    (-10, "9620", "-9.999", "4.5292"),
    (0, "5975", "0.000", "4.2832"),
    (20, "2502", "19.996", "3.5722"),
    (25, "2044", "24.997", "3.3574"),
    (40, "1152", "40.006", "2.6766"),
    (50, "806.9", "50.000", "2.2328"),
    (70, "418.1", "70.002", "1.4742"),
    (80, "308.6", "79.999", "1.1791"),
    (100, "175.7", "100.000", "0.7472"),
    (110, "135.2", "110.021", "0.5955"),
    (130, "83.1", "130.010", "0.3836"),
    (140, "66.2", "140.024", "0.3104"),
)
SERVICE_B_LAW = ("1.335761110e-3", "2.560233464e-4", "1.506150191e-7")
# Bosch Motorsport NTC M8-HT data page, 10 kilohm at 25 degC.
DATA_PAGE = (
    (-35, "158090", "-35.116", "4.9686"),
    (-20, "71668", "-20.045", "4.9312"),
    (0, "27936", "0.000", "4.8272"),
    (10, "18187", "10.008", "4.7394"),
    (25, "10000", "25.010", "4.5455"),
    (30, "8284", "30.011", "4.4614"),
    (50, "4103", "50.000", "4.0202"),
    (60, "2967", "60.002", "3.7396"),
    (80, "1629", "79.993", "3.0981"),
    (90, "1234", "89.983", "2.7619"),
    (110, "735.5", "110.002", "2.1190"),
    (120, "578.1", "120.008", "1.8316"),
    (140, "368.8", "140.008", "1.3472"),
    (150, "298.9", "150.008", "1.1506"),
)
DATA_PAGE_LAW = ("8.688515513e-04", "2.574073419e-04", "1.462137853e-07")
PUBLISHED = [
    (row, law)
    for rows, law in (
        (SERVICE_A, SERVICE_A_LAW),
        (SERVICE_B, SERVICE_B_LAW),
        (DATA_PAGE, DATA_PAGE_LAW),
    )
    for row in rows
]

# Formula values: law, its numbers, ohm, degC.
WIDELY = ("0.001129148", "0.000234125", "8.76741e-08")
SECOND = ("0.001009249522", "0.0002378405444", "2.019202697e-07")
BETA = ("10000", "25", "3950")
SERVICE_A_BETA = ("2450", "20", "3507.66")
FORMULAS = [
    ("steinhart_hart", WIDELY, "100", "178.1347"),
    ("steinhart_hart", WIDELY, "1000", "87.1681"),
    ("steinhart_hart", WIDELY, "10000", "24.9997"),
    ("steinhart_hart", WIDELY, "20000", "9.8986"),
    ("steinhart_hart", WIDELY, "100000", "-20.5229"),
    ("steinhart_hart", SECOND, "1000", "94.6660"),
    ("steinhart_hart", SECOND, "100000", "-26.5787"),
    ("beta", BETA, "1000", "87.7197"),
    ("beta", BETA, "5000", "41.4602"),
    ("beta", BETA, "10000", "25.0000"),
    ("beta", BETA, "33620", "0.0003"),
    ("beta", SERVICE_A_BETA, "45000", "-37.3565"),
    ("beta", SERVICE_A_BETA, "2450", "20.0000"),
    ("beta", SERVICE_A_BETA, "812.6", "49.7853"),
    ("beta", SERVICE_A_BETA, "93", "130.2999"),
]

# Saab 9-3 service table: degC, ohm from, to, volts at the control unit with 5 V through 1.0 kilohm.
SERVICE_RANGES = (
    (-30, "20000", "30000", "4.8"),
    (-10, "7000", "11400", "4.5"),
    (20, "2100", "2900", "3.6"),
    (40, "1000", "1300", "2.7"),
    (60, "565", "670", "1.9"),
    (80, "295", "365", "1.2"),
    (90, "240", "260", "1.0"),
    (110, "140", "160", "0.65"),
)


def thermistor(law: str, numbers: tuple[str, ...], pull_up: str = "1000") -> Thermistor:
    return Thermistor(Fraction(pull_up), True, law, tuple(Fraction(one) for one in numbers))


@pytest.mark.parametrize(("row", "numbers"), PUBLISHED)
def test_published_coefficients_give_the_published_temperature(
    row: tuple[int, str, str, str], numbers: tuple[str, ...]
) -> None:
    found = law_of(thermistor("steinhart_hart", numbers))(Decimal(row[1]))
    assert abs(found - Decimal(row[2])) < Decimal("0.001")


@pytest.mark.parametrize(
    ("points", "numbers"),
    [
        (("0", "5790", "50", "812.6", "110", "147.1"), None),
        (("0", "5975", "50", "806.9", "100", "175.7"), SERVICE_B_LAW),
    ],
)
def test_the_law_goes_through_its_points(
    points: tuple[str, ...], numbers: tuple[str, ...] | None
) -> None:
    law = law_of(thermistor("through", points))
    for celsius, ohm in zip(points[::2], points[1::2], strict=True):
        assert abs(law(Decimal(ohm)) - Decimal(celsius)) < Decimal("1e-15")
    if numbers is not None:
        given = law_of(thermistor("steinhart_hart", numbers))
        for ohm in (70, 700, 7000, 40000):
            assert abs(law(Decimal(ohm)) - given(Decimal(ohm))) < Decimal("0.001")


@pytest.mark.parametrize(("law", "numbers", "ohm", "celsius"), FORMULAS)
def test_formula_value(law: str, numbers: tuple[str, ...], ohm: str, celsius: str) -> None:
    assert abs(law_of(thermistor(law, numbers))(Decimal(ohm)) - Decimal(celsius)) < Decimal("1e-4")


@pytest.mark.parametrize("row", [*SERVICE_A, *SERVICE_B, *DATA_PAGE])
def test_the_divider_gives_the_published_voltage(row: tuple[int, str, str, str]) -> None:
    """Counts nearest to the published voltage stand for a resistance within half a count."""
    full_scale = 65535
    counts = round(float(row[3]) / 5 * full_scale)
    part = thermistor("steinhart_hart", SERVICE_A_LAW)
    low, high = (resistance(part, counts + way, full_scale) for way in (-2, 2))
    assert low < Decimal(row[1]) < high


@pytest.mark.parametrize("row", SERVICE_RANGES)
def test_a_service_voltage_lies_in_its_band_of_resistance(row: tuple[int, str, str, str]) -> None:
    """The manual's voltages have two figures; they fall into its own bands of resistance."""
    counts = round(float(row[3]) / 5 * 65535)
    found = resistance(thermistor("steinhart_hart", SERVICE_A_LAW), counts, 65535)
    margin = Decimal("0.02")
    assert Decimal(row[1]) * (1 - margin) <= found <= Decimal(row[2]) * (1 + margin)


@pytest.mark.parametrize(
    ("numbers", "rows", "pull_up"),
    [
        (SERVICE_A_LAW, SERVICE_A, "1000"),
        (SERVICE_B_LAW, SERVICE_B, "1000"),
        (DATA_PAGE_LAW, DATA_PAGE, "1000"),
    ],
)
@pytest.mark.parametrize(("resolution", "bound"), [("0.1", "0.5"), ("1", "1"), ("0.5", "0.75")])
def test_the_compiled_curve_keeps_its_stated_bound(
    numbers: tuple[str, ...],
    rows: tuple[tuple[int, str, str, str], ...],
    pull_up: str,
    resolution: str,
    bound: str,
) -> None:
    """At every 12-bit count within the bound of the law, and at every published row within the
    bound plus what one count and one step are worth there."""
    full_scale, valid, step = 4095, (60, 4060), Fraction(resolution)
    table = ThermistorTable.model_validate(
        {
            "pull_up_ohm": pull_up,
            "steinhart_hart": list(numbers),
            "max_error": bound,
        }
    )
    points, worst = thermistor_curve(table, full_scale, valid, step, 64)
    assert worst <= Fraction(bound)
    assert all(left[0] < right[0] for left, right in pairwise(points))
    law = law_of(thermistor("steinhart_hart", numbers, pull_up))
    part = thermistor("steinhart_hart", numbers, pull_up)
    for counts in range(valid[0], valid[1] + 1):
        exact = law(resistance(part, counts, full_scale))
        shown = Decimal(interpolate(points, counts)) * Decimal(resolution)
        assert abs(shown - exact) <= Decimal(bound), counts
    for celsius, ohm, _, _ in rows:
        counts = round(full_scale * float(ohm) / (float(ohm) + float(pull_up)))
        if not valid[0] < counts < valid[1]:
            continue
        neighbours = [law(resistance(part, counts + way, full_scale)) for way in (-1, 1)]
        slack = abs(neighbours[0] - neighbours[1]) / 2 + Decimal("0.2")
        shown = Decimal(interpolate(points, counts)) * Decimal(resolution)
        assert abs(shown - celsius) <= Decimal(bound) + slack


def test_the_same_law_gives_the_same_curve_from_either_end_of_the_divider() -> None:
    ground = Thermistor(Fraction(1000), True, "beta", tuple(map(Fraction, BETA)))
    supply = ground._replace(at_ground=False)
    up = law_in_steps(ground, 4095, (100, 3995), Fraction(1, 10))
    down = law_in_steps(supply, 4095, (100, 3995), Fraction(1, 10))
    assert up == down[::-1]
