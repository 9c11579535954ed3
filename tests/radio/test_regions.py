import re

import pytest

from strategist.errors import InputError
from strategist.radio import regions
from strategist.radio.regions import REGIONS, highest_conducted_dbm

FCC, LOW, HIGH = (REGIONS[name] for name in ("fcc-902-928", "etsi-865-868", "etsi-915-921"))


@pytest.mark.parametrize(
    ("region", "gain", "hops", "missing"),
    [
        (None, 6.0, None, "region"),
        (LOW, None, None, "gain"),
        (FCC, 6.0, None, "hopping"),
        (FCC, 6.0, 10, "at least 25"),
    ],
)
def test_no_claim_without_what_the_rule_needs(region, gain, hops, missing):
    level = highest_conducted_dbm(region, gain, "linear", hop_channels=hops)
    assert level.dbm is None and level.eirp_dbm is None
    assert missing in level.caution
    assert "were not checked" in level.caution and "local authority" in level.caution
    assert regions.levels_above([10, 60], level) == ()


def test_every_claim_names_clause_and_edition_and_defers():
    for region in (FCC, LOW, HIGH):
        level = highest_conducted_dbm(region, 8.5, "circular", 1.5, hop_channels=50)
        assert region.clause in level.reason and region.edition in level.reason
        assert "local authority" in level.caution and "Rules" not in level.reason


def test_cable_loss_lifts_the_port_by_as_much_under_a_radiated_limit():
    bare, cabled = (highest_conducted_dbm(LOW, 9, "linear", loss) for loss in (0.0, 2.0))
    assert cabled.dbm == pytest.approx(bare.dbm + 2)
    assert cabled.eirp_dbm == pytest.approx(bare.eirp_dbm)


def test_cable_loss_never_lifts_the_port_above_a_conducted_limit():
    found = [highest_conducted_dbm(FCC, 9, "linear", x, hop_channels=50).dbm for x in (0, 2, 3, 8)]
    assert found == pytest.approx([27, 29, 30, 30])


def test_a_circular_antenna_counts_in_full_unless_asked():
    linear = highest_conducted_dbm(LOW, 9, "linear").dbm
    assert highest_conducted_dbm(LOW, 9, "circular").dbm == linear
    asked = highest_conducted_dbm(LOW, 9, "circular", count_linear_component=True)
    assert asked.dbm == pytest.approx(linear + 3)
    assert "3 dB less as asked" in asked.reason
    assert highest_conducted_dbm(LOW, 9, "linear", count_linear_component=True).dbm == linear


def test_no_credit_where_no_rule_for_it_is_known():
    custom = regions.custom_region(33, "eirp", 902, 928)
    for region in (FCC, custom):
        plain, asked = (
            highest_conducted_dbm(
                region, 9, "circular", hop_channels=50, count_linear_component=ask
            )
            for ask in (False, True)
        )
        assert asked.dbm == plain.dbm
        assert "no rule known" in asked.reason


def test_custom_limit_as_erp_and_as_eirp():
    eirp = highest_conducted_dbm(regions.custom_region(30, "eirp", 915, 928), 6, "linear")
    erp = highest_conducted_dbm(regions.custom_region(30, "erp", 915, 928), 6, "linear")
    assert eirp.dbm == pytest.approx(24)
    assert erp.dbm == pytest.approx(24 + 2.148, abs=1e-3)
    assert "given by the user" in eirp.reason and "not checked" in eirp.reason


def test_the_printed_level_is_never_above_the_lawful_one():
    for gain in range(120):
        level = highest_conducted_dbm(LOW, gain / 10, "linear")
        printed = float(re.search(r"At most (-?[\d.]+) dBm", level.reason).group(1))
        assert level.dbm - 0.0101 < printed <= level.dbm


def test_levels_above():
    level = highest_conducted_dbm(FCC, 8, "linear", hop_channels=50)
    assert regions.levels_above([27.9, 28, 28.1, 30], level) == (28.1, 30)


@pytest.mark.parametrize("region", [FCC, LOW, HIGH])
def test_a_region_has_the_band_that_it_is_named_after(region):
    assert [region.low_mhz, region.high_mhz] == [float(mhz) for mhz in region.name.split("-")[1:]]


def test_the_reason_says_what_was_counted():
    radiated = highest_conducted_dbm(LOW, 8.5, "circular", 1)
    assert "2 W e.r.p. (35.16 dBm e.i.r.p.)" in radiated.reason
    assert "gain 8.5 dBic counted in full, cable loss 1 dB." in radiated.reason
    own = highest_conducted_dbm(regions.custom_region(30, "eirp", 902, 928), 6, "linear")
    assert "1 W e.i.r.p. (30.00 dBm e.i.r.p.)" in own.reason
    assert "gain 6 dBi counted in full" in own.reason
    conducted = highest_conducted_dbm(FCC, 9, None, hop_channels=50)
    assert "30.00 dBm conducted, minus the antenna gain above 6 dBi" in conducted.reason
    assert "At most 27.00 dBm at the reader port" in conducted.reason


def test_an_unknown_region_is_refused_with_the_known_names():
    with pytest.raises(InputError, match="fcc-902-928, etsi-865-868, etsi-915-921"):
        regions.region_named("moon")
