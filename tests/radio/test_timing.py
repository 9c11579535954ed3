from dataclasses import replace

import pytest

from strategist.errors import InputError
from strategist.radio.timing import LINK_PROFILES, LinkProfile, t1_us

GOOD = LinkProfile(12.5, 2.0, 50.0, miller=2)


@pytest.mark.parametrize(
    ("change", "column"),
    [
        ({"tari_us": 5}, "tari_us"),
        ({"data1_tari": 2.5}, "data1_tari"),
        ({"trcal_us": 30}, "trcal_us"),  # below 1.1 RTcal
        ({"divide_ratio": "16"}, "divide_ratio"),
        ({"miller": 3}, "miller"),
        ({"session": 4}, "session"),
        ({"epc_bits": 97}, "epc_bits"),
        ({"t2_tpri": 2}, "t2_tpri"),
        ({"t3_rtcal": -1}, "t3_rtcal"),
    ],
)
def test_a_profile_outside_the_air_interface_is_refused(change, column):
    with pytest.raises(InputError) as caught:
        replace(GOOD, **change)
    assert caught.value.faults[0].column == column


def test_a_link_frequency_above_640_khz_is_refused():
    with pytest.raises(InputError, match="blf_khz"):
        LinkProfile(6.25, 1.5, 20.0)  # 1067 kHz


def test_a_link_frequency_may_be_half_a_percent_off_by_rounding():
    """40 to 640 kHz (Gen2): from 39.80 to 643.2 kHz."""
    assert t1_us(10.0, 643.19) == pytest.approx(10_000 / 643.19)
    assert t1_us(10.0, 39.81) == pytest.approx(10_000 / 39.81)
    for khz in (643.21, 39.79):
        with pytest.raises(InputError, match="blf_khz"):
            t1_us(10.0, khz)


def test_a_reply_by_hand():
    """FM0: 6 symbols before, the bits, 1 after. Miller 2: 10 before, 2 symbols a bit."""
    assert replace(GOOD, miller=1).reply_us(16) == pytest.approx(23 * 1000 / GOOD.blf_khz)
    assert GOOD.reply_us(16) == pytest.approx(27 * 2 * 1000 / GOOD.blf_khz)
    long = replace(GOOD, long_preamble=True)
    assert long.reply_us(16) == pytest.approx(39 * 2 * 1000 / GOOD.blf_khz)


def test_a_far_pointer_costs_a_byte_each_seven_bits():
    byte = 8 * GOOD.rtcal_us / 2
    near = GOOD.select_us(8, 127)
    assert near == GOOD.select_us(8, 0)
    assert GOOD.select_us(8, 128) == pytest.approx(near + byte)
    assert GOOD.select_us(8, 16384) == pytest.approx(near + 2 * byte)


@pytest.mark.parametrize(("length", "pointer"), [(256, 0), (-1, 0), (8, -1), (8.5, 0)])
def test_a_mask_that_select_cannot_carry(length, pointer):
    with pytest.raises(InputError):
        GOOD.select_us(length, pointer)


def test_the_named_profiles_are_what_their_names_say():
    assert LINK_PROFILES["fm0-640"].blf_khz == pytest.approx(640)
    assert LINK_PROFILES["miller4-256"].blf_khz == pytest.approx(256)
