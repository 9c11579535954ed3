import pytest

from strategist.radio import link


def test_turn_on_is_the_inverse_of_the_range():
    for metres in (0.5, 2.0, 7.0):
        level = link.turn_on_dbm(866, metres, 8, -17, polarisation_loss_db=3, cable_loss_db=1.5)
        radiated = level + 8 - 1.5
        found = link.tag_range_m(radiated, 866, -17, polarisation_loss_db=3)
        assert found == pytest.approx(metres)


def test_wavelength_at_915_mhz():
    assert link.wavelength_m(915) == pytest.approx(0.32764, abs=1e-5)
