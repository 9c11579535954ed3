import math

import pytest

from strategist.errors import InputError
from strategist.radio.exposure import exposure_distance


def test_the_density_at_the_distance_is_the_reference_level():
    """36 dBm are 3.9811 W; over the sphere of that radius they come to 915/300 mW/cm²."""
    found = exposure_distance(36, 915, "fcc", "occupational")
    assert found.reference_w_m2 == pytest.approx(30.5)
    assert 3.98107 / (4 * math.pi * found.distance_m**2) == pytest.approx(30.5, rel=1e-5)


def test_the_caution_names_a_distance_not_below_the_computed_one():
    for tenths in range(200, 400, 7):
        found = exposure_distance(tenths / 10, 866)
        printed = float(found.caution.split("Inside ")[1].split(" m")[0])
        assert found.distance_m <= printed < found.distance_m + 0.0101
    assert "qualified person" in found.caution and "licensed practice" in found.caution


def test_the_assumptions_are_said():
    found = exposure_distance(36, 915, "fcc", ground_factor=2.56)
    assert any("2.56" in line for line in found.assumptions)
    assert any("far field" in line for line in found.assumptions)
    assert any("30 min for the public" in line for line in found.assumptions)


@pytest.mark.parametrize(
    ("arguments", "column"),
    [
        ((36, 200, "icnirp", "public"), "mhz"),
        ((36, 1600, "fcc", "public"), "mhz"),
        ((36, 915, "house", "public"), "guideline"),
        ((36, 915, "fcc", "cats"), "group"),
        ((float("nan"), 915, "fcc", "public"), "eirp_dbm"),
        ((36, 915, "fcc", "public", 0.5), "ground_factor"),
    ],
)
def test_values_that_cannot_be(arguments, column):
    with pytest.raises(InputError) as caught:
        exposure_distance(*arguments)
    assert caught.value.faults[0].column == column


EDGES = [
    (lambda x: exposure_distance(x, 915), "eirp_dbm", -30, 70),
    (lambda x: exposure_distance(36, x), "mhz", 400, 2000),
    (lambda x: exposure_distance(36, x, "fcc"), "mhz", 300, 1500),
    (lambda x: exposure_distance(36, 915, ground_factor=x), "ground_factor", 1, 4),
]


@pytest.mark.parametrize(("call", "column", "least", "greatest"), EDGES)
def test_a_value_at_the_edge_is_taken_and_one_beyond_it_refused(call, column, least, greatest):
    call(least)
    call(greatest)
    for beyond in (least - 0.01, greatest + 0.01):
        with pytest.raises(InputError) as caught:
            call(beyond)
        assert caught.value.faults[0].column == column
