"""Radio and exposure against published values. The source stands beside each check.

V reproduced with an independent library, R read in a copy of the document, C computed from the
formula named, M from memory.
"""

import json
import math

import pytest

from strategist import power_limit
from strategist.radio import exposure, lawful, link, regions
from strategist.report.standing import power_limit_text
from strategist.survey.policy import RadiatedLimit, Radio

close = pytest.approx


# --- units -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("milliwatts", "dbm"),
    [(1, 0.0), (10, 10.0), (500, 26.990), (1000, 30.0), (2000, 33.0103), (4000, 36.0206)],
)
def test_dbm_anchors(milliwatts, dbm):
    """V: astropy and scikit-rf."""
    assert link.w_to_dbm(milliwatts / 1000) == close(dbm, abs=5e-4)
    assert link.dbm_to_w(link.w_to_dbm(milliwatts / 1000)) == close(milliwatts / 1000)


def test_dbm_to_milliwatts_anchors():
    """V: astropy and scikit-rf."""
    assert link.dbm_to_w(15) * 1e3 == close(31.623, abs=5e-4)
    assert link.dbm_to_w(-18) * 1e6 == close(15.849, abs=5e-4)


def test_erp_and_eirp():
    """V: astropy and scikit-rf with the factor 1.64."""
    assert close(2.148, abs=5e-4) == link.DIPOLE_DB
    assert link.w_to_dbm(2) + link.DIPOLE_DB == close(35.16, abs=5e-3)
    assert link.w_to_dbm(4) + link.DIPOLE_DB == close(38.17, abs=5e-3)


# --- path loss and fields --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mhz", "metres", "loss"),
    [
        (915, 1, 31.6762),
        (915, 2, 37.6968),
        (915, 3, 41.2186),
        (915, 5, 45.6556),
        (915, 10, 51.6762),
        (866.5, 1, 31.2032),
        (866.5, 10, 51.2032),
    ],
)
def test_exact_friis(mhz, metres, loss):
    """V: pycraf.conversions.free_space_loss."""
    assert link.free_space_loss_db(mhz, metres) == close(loss, abs=6e-5)


# --- tag range and RSSI ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sensitivity", "polarisation", "metres"),
    [
        (-10, 0, 6.663),
        (-14, 0, 10.561),
        (-15, 0, 11.849),
        (-18, 0, 16.737),
        (-20, 0, 21.071),
        (-10, 3, 4.717),
        (-18, 3, 11.849),
    ],
)
def test_tag_range_at_36_dbm_eirp(sensitivity, polarisation, metres):
    """Ahson and Ilyas, RFID Handbook, eq. 4.4-4.5 (formula R, values C); 3 dB of loss R."""
    found = link.tag_range_m(
        36, 915, sensitivity, tag_gain_dbi=2.15, polarisation_loss_db=polarisation
    )
    assert found == close(metres, abs=6e-4)


def test_tag_range_in_the_lower_band():
    """The same formula (C): 866.5 MHz, 35.15 dBm e.i.r.p., -18 dBm; told with the lawful level."""
    assert link.tag_range_m(35.15, 866.5, -18, tag_gain_dbi=2.15) == close(16.027, abs=6e-4)
    own = RadiatedLimit(35.15, "eirp", 866.5, 868.0)
    found = lawful.power_limit(Radio(limit=own, antenna_gain_dbi=6.0, polarisation="linear"))
    assert found.reach_m == close(16.027, abs=6e-4)
    text = " ".join(power_limit_text(found).split())
    assert "a tag of -18 dBm may answer from up to 16.0 m" in text
    assert lawful.power_limit(Radio(antenna_gain_dbi=6.0), 20.0).reach_m is None


def test_budget_of_48_db():
    """C: 30 dBm + 6 dBi + 2 dBi against -10 dBm leaves 48 dB, 6.55 m at 915 MHz."""
    radiated = 30 + 6
    metres = link.tag_range_m(radiated, 915, -10, tag_gain_dbi=2)
    assert link.free_space_loss_db(915, metres) == close(48)
    assert metres == close(6.55, abs=5e-3)
    assert link.turn_on_dbm(915, metres, 6, -10, tag_gain_dbi=2) == close(30)


# --- lawful levels ---------------------------------------------------------------------------

FCC = regions.region_named("fcc-902-928")
ETSI_LOW = regions.region_named("etsi-865-868")
ETSI_HIGH = regions.region_named("etsi-915-921")


@pytest.mark.parametrize(
    ("gain", "dbm"), [(0, 30), (2, 30), (6, 30), (8, 28), (8.5, 27.5), (9, 27), (12, 24)]
)
def test_fcc_conducted_maximum_against_gain(gain, dbm):
    """47 CFR 15.247(b)(2), (b)(4) (rule R, values C): dB for dB above 6 dBi, 36 dBm e.i.r.p."""
    level = regions.highest_conducted_dbm(FCC, gain, "linear", hop_channels=50)
    assert level.dbm == close(dbm)
    assert level.eirp_dbm <= 36 + 1e-9
    assert "15.247" in level.reason


@pytest.mark.parametrize(
    ("hops", "watts"), [(24, None), (25, 0.25), (49, 0.25), (50, 1.0), (80, 1.0)]
)
def test_fcc_limit_by_hopping_channels(hops, watts):
    """47 CFR 15.247(a)(1)(i), (b)(2) (R): 1 W from 50 channels, 0.25 W from 25 to 49."""
    level = regions.highest_conducted_dbm(FCC, 6, "linear", hop_channels=hops)
    if watts is None:
        assert level.dbm is None
    else:
        assert link.dbm_to_w(level.dbm) == close(watts)


@pytest.mark.parametrize(("gain", "dbm"), [(6, 29.16), (7, 28.16), (8.5, 26.66), (9, 26.16)])
def test_etsi_conducted_maximum_for_2_w_erp(gain, dbm):
    """ETSI EN 302 208 lower band, 2 W e.r.p. (R, scope; values C), no cable loss."""
    level = regions.highest_conducted_dbm(ETSI_LOW, gain, "linear")
    assert level.dbm == close(dbm, abs=5e-3)
    assert level.eirp_dbm == close(35.16, abs=5e-3)
    assert "EN 302 208" in level.reason


def test_etsi_upper_band():
    """ETSI EN 302 208 upper band, 4 W e.r.p. (R, scope) = 38.17 dBm e.i.r.p. (V)."""
    level = regions.highest_conducted_dbm(ETSI_HIGH, 9, "linear", 1.0)
    assert level.eirp_dbm == close(38.17, abs=5e-3)
    assert level.dbm == close(38.17 - 9 + 1, abs=5e-3)


@pytest.mark.parametrize(
    ("region", "channels_mhz", "width_mhz"),
    [
        (ETSI_LOW, (865.7, 866.3, 866.9, 867.5), 0.2),
        (ETSI_HIGH, (916.3, 917.5, 918.7, 919.9), 0.4),
        (FCC, (902.75, 927.25), 0.5),
    ],
)
def test_every_channel_lies_in_the_band(region, channels_mhz, width_mhz):
    """ETSI EN 302 208, high-power channels, and the outermost of 50 channels of 500 kHz by 47 CFR
    15.247 (all M): limits and exposure are taken for the whole band, so for each of them."""
    for channel in channels_mhz:
        assert region.low_mhz <= channel - width_mhz / 2
        assert channel + width_mhz / 2 <= region.high_mhz


@pytest.mark.parametrize("region", ["etsi-865-868", "etsi-915-921"])
def test_the_sheet_says_that_beamwidth_and_channels_bind_too(region):
    """ETSI EN 302 208 asks for beamwidths of at most 180 and 90 degrees above 0.5 W and 1 W (M):
    no power level alone can promise that, so whoever asks for the limit is told."""
    found = power_limit(Radio(region=region, antenna_gain_dbi=6)).to_json()
    told = json.dumps(found)
    assert "beamwidth" in told and "0.5 W" in told and "1 W" in told and "channels" in told


# --- exposure --------------------------------------------------------------------------------


@pytest.mark.parametrize(("mhz", "level"), [(865.6, 4.328), (868, 4.34), (915, 4.575), (928, 4.64)])
def test_icnirp_reference_levels(mhz, level):
    """ICNIRP 1998 and 2020, whole body: f/200 for the public, f/40 at work (R)."""
    assert exposure.reference_w_m2("icnirp", "public", mhz) == close(level)
    assert exposure.reference_w_m2("icnirp", "occupational", mhz) == close(5 * level)


def test_icnirp_field_level():
    """ICNIRP 1998: 1.375 sqrt f V/m (from memory, value C)."""
    assert exposure.exposure_distance(36, 915).reference_v_m == close(41.59, abs=5e-3)
    assert exposure.exposure_distance(36, 915, "fcc").reference_v_m is None


def test_icnirp_field_level_at_work():
    """ICNIRP 1998, occupational, 400-2000 MHz: 3 sqrt f V/m (from memory), 90 V/m at 900 MHz."""
    found = exposure.exposure_distance(36, 900, group="occupational")
    assert found.reference_v_m == close(90)


def test_fcc_reference_level():
    """47 CFR 1.1310: f/1500 mW/cm² (from memory), 4/3 of ICNIRP (Mazar, R), and 0.2 mW/cm² at
    300 MHz, where the 30-300 MHz row ends (R)."""
    assert exposure.reference_w_m2("fcc", "public", 915) == close(6.10, abs=5e-3)
    ratio = exposure.reference_w_m2("fcc", "public", 915) / (915 / 200)
    assert ratio == close(4 / 3)
    assert exposure.reference_w_m2("fcc", "public", 300) == close(2.0)


def test_fcc_reference_level_at_work():
    """47 CFR 1.1310, occupational, 300-1500 MHz: f/300 mW/cm² (from memory), and 1.0 mW/cm² at
    300 MHz, where the 30-300 MHz row ends (from memory)."""
    assert exposure.reference_w_m2("fcc", "occupational", 900) == close(30)
    assert exposure.reference_w_m2("fcc", "occupational", 300) == close(10)
    at_work = exposure.exposure_distance(36.0206, 900, "fcc", "occupational")
    assert at_work.distance_m == close(math.sqrt(4 / (4 * math.pi * 30)), abs=6e-5)


@pytest.mark.parametrize(
    ("watts", "mhz", "guideline", "ground", "metres"),
    [
        (4, 915, "icnirp", 1.0, 0.2638),  # V: pycraf gives 4.575 W/m² at 0.26377 m
        (4, 915, "fcc", 1.0, 0.2284),  # V
        (4, 915, "fcc", exposure.GROUND_FACTOR_OET65, 0.3655),  # V; OET-65 ground factor R
        (2 * 1.64, 865.6, "icnirp", 1.0, 0.2456),  # C: 2 W e.r.p.
        (4 * 1.64, 915, "icnirp", 1.0, 0.3378),  # C: 4 W e.r.p.
    ],
)
def test_exposure_distance(watts, mhz, guideline, ground, metres):
    """Far-field distance sqrt(k EIRP / 4 pi S); the row's source stands beside it."""
    found = exposure.exposure_distance(
        link.w_to_dbm(watts), mhz, guideline, "public", ground_factor=ground
    )
    assert found.distance_m == close(metres, abs=6e-5)
