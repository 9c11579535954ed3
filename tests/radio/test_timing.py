from dataclasses import replace

import pytest

from strategist.radio.timing import LINK_PROFILES, LinkProfile

GOOD = LinkProfile(12.5, 2.0, 50.0, miller=2)


@pytest.mark.parametrize("profile", LINK_PROFILES.values(), ids=LINK_PROFILES)
def test_the_named_profiles_keep_to_the_air_interface(profile):
    """Ranges of Gen2, from memory; TRcal is printed rounded, so the link frequency to half a
    percent."""
    assert 6.25 <= profile.tari_us <= 25
    assert 1.5 <= profile.data1_tari <= 2
    assert 1.1 <= profile.trcal_us / profile.rtcal_us <= 3
    assert 40 / 1.005 <= profile.blf_khz <= 640 * 1.005
    assert 3 <= profile.t2_tpri <= 20
    assert profile.miller in (1, 2, 4, 8) and profile.session in (0, 1, 2, 3)
    assert profile.epc_bits % 16 == 0


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


def test_the_named_profiles_are_what_their_names_say():
    assert LINK_PROFILES["fm0-640"].blf_khz == pytest.approx(640)
    assert LINK_PROFILES["miller4-256"].blf_khz == pytest.approx(256)
