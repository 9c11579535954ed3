import math

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.radio import units


def test_wavelength_at_915_mhz():
    assert units.wavelength_m(915) == pytest.approx(0.32764, abs=1e-5)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, True, "3", None, 11, -1])
def test_a_value_that_cannot_be_is_named(value):
    with pytest.raises(InputError) as caught:
        units.bounded("gain", value, 0, 10, "dBi")
    (fault,) = caught.value.faults
    assert (fault.column, fault.value) == ("gain", str(value))
    assert fault.allowed == "a number from 0 to 10 dBi"


def test_the_ends_of_the_range_and_numpy_numbers_are_fine():
    assert units.bounded("gain", 0, 0, 10, "dBi") == 0.0
    assert units.bounded("gain", np.float64(10), 0, 10, "dBi") == 10.0
    assert units.whole("tags", np.int64(4), 0, 10, "tags") == 4


def test_a_part_of_a_tag_is_refused():
    with pytest.raises(InputError, match="a whole number from 0 to 10 tags"):
        units.whole("tags", 2.5, 0, 10, "tags")


@pytest.mark.parametrize("call", [units.mw_to_dbm, units.w_to_dbm])
def test_no_power_has_no_dbm(call):
    with pytest.raises(InputError):
        call(0)
