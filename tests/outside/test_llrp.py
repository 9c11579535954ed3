"""LLRP bytes against encodings reproduced with an independent codec of the open standard.

Source: LLRP 1.0.1; byte strings reproduced with the codec sllurp 3.0.5 (not imported here), but for
the tail with parameter 334, which is computed from the layout.
"""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from strategist.tags.llrp import (
    TYPES,
    encode_parameter,
    filter_parameters,
    llrp_document,
    tlv,
)
from strategist.tags.mask import Mask
from strategist.tags.power_table import PowerTable

UNAWARE = "C1G2TagInventoryStateUnawareFilterAction"
MASK_30 = "014C000A400020000830"


def encoded(name: str, fields: dict[str, Any]) -> str:
    return encode_parameter(name, fields).hex().upper()


def mask_fields(mask: Mask) -> dict[str, Any]:
    fields: dict[str, Any] = filter_parameters([mask])[0]["C1G2TagInventoryMask"]
    return fields


def test_parameter_types() -> None:
    assert TYPES == {
        "AISpec": 183,
        "AISpecStopTrigger": 184,
        "InventoryParameterSpec": 186,
        "AntennaConfiguration": 222,
        "RFTransmitter": 224,
        "C1G2InventoryCommand": 330,
        "C1G2Filter": 331,
        "C1G2TagInventoryMask": 332,
        UNAWARE: 334,
    }


def test_rf_transmitter() -> None:
    fields = {"HopTableID": 1, "ChannelIndex": 1, "TransmitPower": 42}
    assert encoded("RFTransmitter", fields) == "00E0000A00010001002A"


def test_a_tlv_of_any_type() -> None:
    """RFReceiver (223) with sensitivity index 3."""
    assert tlv(223, bytes.fromhex("0003")).hex().upper() == "00DF00060003"


@pytest.mark.parametrize(
    ("mask", "coded"),
    [
        (Mask("epc", 0x20, 8, "30"), MASK_30),
        (Mask("epc", 0x20, 40, "3074257BF4"), "014C000E40002000283074257BF4"),
        (Mask("tid", 0, 8, "E2"), "014C000A8000000008E2"),
    ],
)
def test_tag_inventory_mask(mask: Mask, coded: str) -> None:
    assert encoded("C1G2TagInventoryMask", mask_fields(mask)) == coded


@pytest.mark.parametrize(("truncate", "top"), [(0, "00"), (1, "40"), (2, "80")])
def test_filter_without_action(truncate: int, top: str) -> None:
    fields = {"T": truncate, "C1G2TagInventoryMask": mask_fields(Mask("epc", 0x20, 8, "30"))}
    assert encoded("C1G2Filter", fields) == f"014B000F{top}{MASK_30}"


@pytest.mark.parametrize("action", range(6))
def test_filter_with_state_unaware_action(action: int) -> None:
    mask = mask_fields(Mask("epc", 0x20, 8, "30"))
    fields = {"T": 1, "C1G2TagInventoryMask": mask, UNAWARE: {"Action": action}}
    assert encoded("C1G2Filter", fields) == f"014B001440{MASK_30}014E0005{action:02X}"


def test_inventory_command() -> None:
    """The published command without its C1G2SingulationControl, which we do not write."""
    mask = mask_fields(Mask("epc", 0x20, 8, "30"))
    fields = {
        "TagInventoryStateAware": 0,
        "C1G2Filter": [{"T": 1, "C1G2TagInventoryMask": mask}],
    }
    expected = f"014A001400014B000F40{MASK_30}"
    assert encoded("C1G2InventoryCommand", fields) == expected


def test_the_document_builds_on_the_same_bytes() -> None:
    """The command above with the action (334) of a chain's first mask added, computed."""
    document = llrp_document(
        [31.0],
        [Mask("epc", 0x20, 8, "30")],
        PowerTable(((42, 31.0),)),
    )
    coded = document["steps"][0]["bytes"]
    assert coded["RFTransmitter"] == "00E0000A00010001002A"
    assert coded["C1G2InventoryCommand"] == (f"014A001900014B001440{MASK_30}014E000500")


def _unaware(action: int, matches: bool, selected: bool) -> bool:
    """LLRP 1.0.1, 15.2.1.2.1.1.3, transcribed: what a filter does to a tag's selection."""
    does = {
        0: ("select", "unselect"),
        1: ("select", None),
        2: (None, "unselect"),
        3: ("unselect", None),
        4: ("unselect", "select"),
        5: (None, "select"),
    }[action][0 if matches else 1]
    return selected if does is None else does == "select"


@pytest.mark.parametrize(
    "shape",
    list(
        itertools.product(
            [(None, n) for n in (0, 1)], *[[*itertools.product(("and", "or"), (0, 1))]] * 2
        )
    ),
)
def test_state_unaware_actions_of_every_chain_of_three(shape: tuple[tuple[Any, int], ...]) -> None:
    """All joins and negations, all tags, selected or not before: the chain's own meaning holds."""
    chain = [
        Mask("epc", 32 + at, 1, "80", bool(negate), join) for at, (join, negate) in enumerate(shape)
    ]
    actions = [one[UNAWARE]["Action"] for one in filter_parameters(chain)]
    for *truth, before in itertools.product((False, True), repeat=4):
        selected = before
        for action, matches in zip(actions, truth, strict=True):
            selected = _unaware(action, matches, selected)
        expected = truth[0] != chain[0].negate
        for mask, matches in zip(chain[1:], truth[1:], strict=True):
            passes = matches != mask.negate
            expected = (expected and passes) if mask.join == "and" else (expected or passes)
        assert selected == expected
