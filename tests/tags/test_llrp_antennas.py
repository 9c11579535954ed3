"""Settings by antenna in LLRP: AISpec bytes worked by hand, read back, and the host's rules."""

from __future__ import annotations

import pytest

from strategist.errors import InputError
from strategist.survey.score import Difference, Nth, Peak
from strategist.tags.host_rules import Keep, keeps_of
from strategist.tags.llrp import encode_parameter, llrp_document, llrp_lines
from strategist.tags.mask import Mask
from strategist.tags.power_table import PowerTable
from strategist.tags.read_back import of_ai_specs

TABLE = PowerTable(tuple((number, 10.0 + number) for number in range(1, 21)))
TRIMMED = Peak(antennas=(1, 3), trim_db=((3, -2.0),), offset_db=((3, 4.0),))
MASKS = (Mask("epc", 32, 8, "33"), Mask("epc", 40, 8, "14", True, "and"))


def test_the_bytes_of_an_ai_spec_worked_by_hand() -> None:
    """One step of antennas 1 and 3 at 20 and 18 dBm (indices 10 and 8), 0.5 s long.

    AISpec 183 = B7h: antennas 2, 1 and 3; stop trigger 184 = B8h of type 1 with 500 = 1F4h ms;
    InventoryParameterSpec 186 = BAh number 1, protocol 1; two AntennaConfigurations 222 = DEh with
    RFTransmitter 224 = E0h and an inventory command 330 = 14Ah without filters.
    """
    document = llrp_document([20], (), TABLE, keep=Keep(TRIMMED), step_s=0.5)
    command = "014A000500"
    one, three = (
        f"00DE0015{antenna:04X}00E0000A00010001{index:04X}{command}"
        for antenna, index in ((1, 10), (3, 8))
    )
    assert document["steps"][0]["bytes"] == {
        "AISpec": f"00B7004400020001000300B8000901000001F400BA0031000101{one}{three}"
    }


def test_without_a_dwell_the_step_ends_with_the_ro_spec() -> None:
    coded = llrp_document([20], (), TABLE, keep=Keep(TRIMMED))["steps"][0]["bytes"]["AISpec"]
    assert "00B800090000000000" in coded and of_ai_specs(coded).seconds is None


def test_each_step_is_read_back_as_it_was_meant() -> None:
    document = llrp_document([15, 20], MASKS, TABLE, keep=Keep(TRIMMED), step_s=0.25)
    for step, level in zip(document["steps"], (15, 20), strict=True):
        found = of_ai_specs(step["bytes"]["AISpec"])
        assert found.power_index == ((1, level - 10), (3, level - 12))
        assert (found.chain, found.seconds) == (MASKS, 0.25)
    assert document["score"] == TRIMMED.to_json()


def test_antennas_in_turn_have_an_ai_spec_each() -> None:
    """One after the other, as long as a turn, with numbers of their own; the host is told so."""
    document = llrp_document([15, 20], MASKS, TABLE, keep=Keep(TRIMMED), step_s=0.25, in_turn=True)
    numbers = []
    for step, level in zip(document["steps"], (15, 20), strict=True):
        found = of_ai_specs(step["bytes"]["AISpec"])
        assert found.power_index == ((1, level - 10), (3, level - 12))
        assert (found.chain, found.seconds) == (MASKS, 0.25)
        specs = step["parameters"]["AISpec"]
        assert [spec["AntennaIDs"] for spec in specs] == [[1], [3]]
        numbers += [one["InventoryParameterSpec"]["InventoryParameterSpecID"] for one in specs]
        one, other = (encode_parameter("AISpec", spec).hex().upper() for spec in specs)
        assert step["bytes"]["AISpec"] == one + other
    assert numbers == [1, 2, 3, 4] and "a turn of 0.25 s" in document["host_work"][0]
    assert "antenna 3 TransmitPower 3" in llrp_lines(document)[0]


def test_configurations_with_other_masks_are_seen() -> None:
    """Else a chain written for one antenna alone would pass for that of both."""
    document = llrp_document([15], MASKS, TABLE, keep=Keep(TRIMMED))
    fields = document["steps"][0]["parameters"]["AISpec"]
    first, second = fields["InventoryParameterSpec"]["AntennaConfiguration"]
    bare = {**second["C1G2InventoryCommand"], "C1G2Filter": []}
    fields["InventoryParameterSpec"]["AntennaConfiguration"] = [
        first,
        {**second, "C1G2InventoryCommand": bare},
    ]
    assert of_ai_specs(encode_parameter("AISpec", fields).hex()).chain is None


def test_a_trimmed_level_that_the_table_lacks_is_refused() -> None:
    with pytest.raises(InputError, match="9 dBm"):
        llrp_document([11], (), TABLE, keep=Keep(TRIMMED))


def test_a_score_of_all_antennas_keeps_the_two_parameters() -> None:
    document = llrp_document([17], (), TABLE, keep=Keep(Nth("nth", 3), -60))
    assert set(document["steps"][0]["bytes"]) == {"RFTransmitter", "C1G2InventoryCommand"}


def test_the_rules_for_the_host_are_precise() -> None:
    own = list(keeps_of(TRIMMED, -61.0))
    assert own == [Keep(TRIMMED, None, ((1, -61), (3, -57)))]
    said = " ".join(own[0].work())
    assert "list antennas 1 and 3 alone" in said
    assert "keep -61 dBm from antenna 1, -57 dBm from antenna 3, and above" in said
    count = " ".join(Keep(Nth("nth", 3), -60).work())
    assert "once it has 3 reports with a PeakRSSI of -60 dBm or above" in count
    assert "N = 1" in count
    compare = " ".join(Keep(Difference("difference", (1,), (2, 4), -81.0), 6).work())
    assert "strongest PeakRSSI of antenna 1 less the strongest of antennas 2 and 4" in compare
    assert "counts as -81 dBm. Keep the tags with 6 dB or more" in compare


def test_cutoffs_that_are_not_whole_are_tried_both_ways_at_each_antenna() -> None:
    ways = list(keeps_of(Peak(antennas=(1, 2), offset_db=((2, 3.0),)), -61.5))
    assert [keep.by_antenna for keep in ways] == [
        ((1, -61), (2, -58)),
        ((1, -61), (2, -59)),
        ((1, -62), (2, -58)),
        ((1, -62), (2, -59)),
    ]


def test_the_lines_name_the_power_of_each_antenna() -> None:
    lines = llrp_lines(llrp_document([20], MASKS, TABLE, keep=Keep(TRIMMED)))
    assert lines[0] == "Step 1: 20 dBm; antenna 1 TransmitPower 10, antenna 3 TransmitPower 8"


def test_a_tag_must_be_able_to_answer_each_antenna() -> None:
    """Else the first antenna that reads a tag takes it from the one it is compared with."""
    facing = Keep(Difference("difference", (1,), (2,), -81.0), 6)
    work = " ".join(llrp_document([20], (), TABLE, keep=facing)["host_work"])
    assert "a tag read by one antenna must be able to answer the others" in work
    alone = " ".join(
        llrp_document([20], (), TABLE, keep=Keep(Peak(antennas=(1,)), -60))["host_work"]
    )
    assert "Session" not in alone
