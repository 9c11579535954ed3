import math

import pytest

from strategist.errors import InputError
from strategist.radio.exposure import exposure_distance, reference_w_m2


def test_the_density_at_the_distance_is_the_reference_level():
    found = exposure_distance(36, 915, "fcc", "occupational")
    watts = 10 ** (36 / 10) / 1000
    density = watts / (4 * math.pi * found.metres**2)
    assert density == pytest.approx(found.reference_w_m2)
    assert reference_w_m2("fcc", "occupational", 915) == found.reference_w_m2


def test_the_caution_names_a_distance_not_below_the_computed_one():
    for tenths in range(200, 400, 7):
        found = exposure_distance(tenths / 10, 866)
        printed = float(found.caution.split("Inside ")[1].split(" m")[0])
        assert found.metres <= printed < found.metres + 0.0101
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
