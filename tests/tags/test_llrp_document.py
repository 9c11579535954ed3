"""The LLRP document: steps, bytes, and what is left for the host."""

from __future__ import annotations

import json

import pytest

from strategist.errors import InputError
from strategist.tags.host_rules import Keep
from strategist.tags.llrp import (
    encode_parameter,
    llrp_document,
    llrp_lines,
    tlv,
)
from strategist.tags.mask import Mask
from strategist.tags.power_table import PowerTable

TABLE = PowerTable(((1, 10.0), (2, 17.0), (3, 20.0), (4, 31.5)))
CHAIN = (Mask("epc", 32, 16, "3034"), Mask("tid", 8, 24, "9F0234", True, "or"))


def test_one_entry_for_each_step_with_names_and_bytes() -> None:
    document = json.loads(
        json.dumps(llrp_document([17, 20], CHAIN, TABLE, keep=Keep(at_least=-58)))
    )
    assert [step["power_dbm"] for step in document["steps"]] == [17, 20]
    powers = [s["parameters"]["RFTransmitter"]["TransmitPower"] for s in document["steps"]]
    assert powers == [2, 3]
    for step in document["steps"]:
        assert step["bytes"] == {
            name: encode_parameter(name, fields).hex().upper()
            for name, fields in step["parameters"].items()
        }
    filters = document["steps"][0]["parameters"]["C1G2InventoryCommand"]["C1G2Filter"]
    actions = [one["C1G2TagInventoryStateUnawareFilterAction"]["Action"] for one in filters]
    assert actions == [0, 5]
    assert filters[1]["C1G2TagInventoryMask"]["MB"] == 2


def test_without_masks_the_inventory_has_no_filter() -> None:
    document = llrp_document([17], (), TABLE)
    assert document["steps"][0]["bytes"]["C1G2InventoryCommand"] == "014A000500"


def test_a_level_that_the_table_lacks_is_refused_naming_its_neighbours() -> None:
    with pytest.raises(InputError, match=r"18 dBm.*17 dBm \(index 2\) or 20 dBm"):
        llrp_document([17, 18], (), TABLE)


def test_what_llrp_cannot_say_is_work_for_the_host() -> None:
    full = " ".join(
        llrp_document([17, 20], CHAIN, TABLE, stop_after=3, keep=Keep(at_least=-58))["host_work"]
    )
    assert "keep -58 dBm and above" in full
    assert "stop at 3 or more" in full
    assert "takes 2 per query" in full
    assert "Session: a tag dropped at one step" in full
    bare = " ".join(llrp_document([17], (), TABLE)["host_work"])
    assert (
        "Cutoff" not in bare
        and "Session" not in bare
        and "Ladder" not in bare
        and "Filters" not in bare
    )
    assert "local rules" in bare and "HopTableID" in bare


def test_lines_hold_every_step_filter_and_sentence() -> None:
    document = llrp_document([17, 20], CHAIN, TABLE)
    lines = llrp_lines(document)
    assert lines[0] == "Step 1: 17 dBm, TransmitPower 2"
    assert "filter 2: MB 2, Pointer 8, MaskBitCount 24, TagMask 9F0234, Action 5" in lines[2]
    assert lines[-1].strip() == document["host_work"][-1]
    assert sum("bytes" in line for line in lines) == 4


def test_hop_table_channel_and_power_stand_in_the_order_of_the_standard() -> None:
    """LLRP 1.0.1, RFTransmitter: HopTableID, ChannelIndex, TransmitPower, two bytes each."""
    fields = {"HopTableID": 2, "ChannelIndex": 7, "TransmitPower": 42}
    assert encode_parameter("RFTransmitter", fields).hex().upper() == "00E0000A00020007002A"


def test_values_that_a_parameter_cannot_hold_are_refused() -> None:
    with pytest.raises(ValueError, match="type"):
        tlv(1024, b"")
    with pytest.raises(ValueError, match="none of"):
        encode_parameter("ROSpec", {})
