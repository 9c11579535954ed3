import math

import pytest

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
