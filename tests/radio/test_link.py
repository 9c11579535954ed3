import pytest

from strategist.errors import InputError
from strategist.radio import link


def test_turn_on_is_the_inverse_of_the_range():
    for metres in (0.5, 2.0, 7.0):
        level = link.turn_on_dbm(866, metres, 8, -17, polarisation_loss_db=3, cable_loss_db=1.5)
        radiated = link.eirp_dbm(level, 8, 1.5)
        found = link.tag_range_m(radiated, 866, -17, polarisation_loss_db=3)
        assert found == pytest.approx(metres)


@pytest.mark.parametrize(
    ("call", "column"),
    [
        (lambda: link.free_space_loss_db(915, 0), "metres"),
        (lambda: link.eirp_dbm(30, 6, -1), "cable_loss_db"),
        (lambda: link.eirp_dbm(30, 60), "antenna_gain_dbi"),
        (lambda: link.tag_range_m(36, 915, float("nan")), "tag_sensitivity_dbm"),
    ],
)
def test_values_that_cannot_be(call, column):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.faults[0].column == column
