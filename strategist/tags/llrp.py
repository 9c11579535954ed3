"""A strategy in LLRP: named parameters, their bytes, and what is left for the host.

Source: LLRP 1.0.1, TLV parameters (6 zero bits, 10 bits of type, 16 bits of length, big-endian);
state-unaware actions of clause 15.2.1.2.1.1.3; the order of fields in AISpec, its stop trigger,
InventoryParameterSpec and AntennaConfiguration from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from typing import Any

from strategist.survey.order import figure
from strategist.survey.policy import DECIMALS
from strategist.survey.score import Difference, Peak
from strategist.tags.gen2 import BANK_BITS
from strategist.tags.host_rules import Keep
from strategist.tags.mask import Mask, chain_notes
from strategist.tags.power_table import PowerTable

TYPES = {
    "AISpec": 183,
    "AISpecStopTrigger": 184,
    "InventoryParameterSpec": 186,
    "AntennaConfiguration": 222,
    "RFTransmitter": 224,
    "C1G2InventoryCommand": 330,
    "C1G2Filter": 331,
    "C1G2TagInventoryMask": 332,
    "C1G2TagInventoryStateUnawareFilterAction": 334,
}

# The words for the actions of the state-unaware filter: matching tags / the others.
UNAWARE_ACTIONS = (
    "select matching, unselect others",
    "select matching",
    "unselect others",
    "unselect matching",
    "unselect matching, select others",
    "select others",
)

# (join, negate) → action. The first filter decides for every tag, so no older state survives it.
_ACTION_OF = {
    (None, False): 0,
    (None, True): 4,
    ("or", False): 1,
    ("and", False): 2,
    ("and", True): 3,
    ("or", True): 5,
}

_DO_NOT_TRUNCATE = 1
_GEN2 = 1  # ProtocolID of the EPCglobal Class 1 Gen2 air protocol
_UNAWARE = "C1G2TagInventoryStateUnawareFilterAction"


def tlv(kind: int, body: bytes) -> bytes:
    """A TLV parameter of a type and a body; raises ValueError where type or length do not fit."""
    if not 0 <= kind < 2**10 or len(body) + 4 >= 2**16:
        raise ValueError("a type of 10 bits and a body that fits into 16 bits of length")
    return struct.pack(">HH", kind, len(body) + 4) + body


def filter_parameters(chain: Sequence[Mask]) -> list[dict[str, Any]]:
    """The C1G2Filter parameters of a mask chain, in order, with state-unaware actions."""
    return [
        {
            "T": _DO_NOT_TRUNCATE,
            "C1G2TagInventoryMask": {
                "MB": BANK_BITS[mask.bank],
                "Pointer": mask.pointer,
                "MaskBitCount": mask.length,
                "TagMask": mask.pattern,
            },
            "C1G2TagInventoryStateUnawareFilterAction": {
                "Action": _ACTION_OF[None if position == 0 else mask.join, mask.negate]
            },
        }
        for position, mask in enumerate(chain)
    ]


def encode_parameter(name: str, fields: dict[str, Any]) -> bytes:
    """The bytes of a parameter from its named fields, as `llrp_document` gives them.

    Parameters inside it stand under their names; an action that is absent is left out. Raises
    ValueError on a name that is not in TYPES, KeyError on a field that is missing.
    """
    if name not in TYPES:
        raise ValueError(f"{name} is none of {', '.join(TYPES)}")
    return tlv(TYPES[name], _body(name, fields))


def _body(name: str, fields: dict[str, Any]) -> bytes:
    if name == "RFTransmitter":
        channel = (fields["HopTableID"], fields["ChannelIndex"])
        return struct.pack(">HHH", *channel, fields["TransmitPower"])
    if name == "C1G2InventoryCommand":
        filters = [encode_parameter("C1G2Filter", one) for one in fields["C1G2Filter"]]
        head = bytes([fields["TagInventoryStateAware"] << 7])
        return head + b"".join(filters)
    if name == "C1G2Filter":
        parts = ("C1G2TagInventoryMask", "C1G2TagInventoryStateUnawareFilterAction")
        return bytes([fields["T"] << 6]) + b"".join(_inside(fields, part) for part in parts)
    if name == "C1G2TagInventoryMask":
        head = struct.pack(">BHH", fields["MB"] << 6, fields["Pointer"], fields["MaskBitCount"])
        return head + bytes.fromhex(fields["TagMask"])
    if name in _OF_ANTENNAS:
        return _OF_ANTENNAS[name](fields)
    return bytes([fields["Action"]])


def _ai_spec_body(fields: dict[str, Any]) -> bytes:
    antennas = fields["AntennaIDs"]
    listed = struct.pack(f">H{len(antennas)}H", len(antennas), *antennas)
    parts = ("AISpecStopTrigger", "InventoryParameterSpec")
    return listed + b"".join(_inside(fields, part) for part in parts)


def _until_body(fields: dict[str, Any]) -> bytes:
    return struct.pack(">BI", fields["AISpecStopTriggerType"], fields["DurationTrigger"])


def _specification_body(fields: dict[str, Any]) -> bytes:
    head = struct.pack(">HB", fields["InventoryParameterSpecID"], fields["ProtocolID"])
    configurations = fields["AntennaConfiguration"]
    return head + b"".join(encode_parameter("AntennaConfiguration", one) for one in configurations)


def _configuration_body(fields: dict[str, Any]) -> bytes:
    parts = ("RFTransmitter", "C1G2InventoryCommand")
    head = struct.pack(">H", fields["AntennaID"])
    return head + b"".join(_inside(fields, part) for part in parts)


_OF_ANTENNAS = {
    "AISpec": _ai_spec_body,
    "AISpecStopTrigger": _until_body,
    "InventoryParameterSpec": _specification_body,
    "AntennaConfiguration": _configuration_body,
}


def _inside(fields: dict[str, Any], name: str) -> bytes:
    return encode_parameter(name, fields[name]) if name in fields else b""


def host_work(
    levels_dbm: Sequence[float], stop_after: int, keep: Keep, masks: Sequence[Mask]
) -> tuple[str, ...]:
    """What the parameters cannot say and the host must do, as whole sentences."""
    work = keep.work()
    if len(levels_dbm) > 1:
        work.append(
            f"Ladder: apply the {len(levels_dbm)} steps in order, one inventory for each; LLRP has "
            "no ladder."
        )
        work.append(
            f"Stop rule: after each step count the different tags kept so far and stop at "
            f"{stop_after} or more, or after the last step. LLRP's own triggers count neither the "
            "cutoff nor the steps."
        )
    if keep.drops and (len(levels_dbm) > 1 or keep.by_several):
        # Persistence of the inventoried flags: from memory of Gen2.
        heard = "dropped at one step must be able to answer at the next"
        if keep.by_several:
            heard = "read by one antenna must be able to answer the others, and at the next step"
        work.append(
            f"Session: a tag {heard}. Use a session whose inventoried flag does not last from "
            f"{'antenna to antenna' if keep.by_several else 'step to step'}, as session 0 with the "
            "carrier off in between."
        )
    if masks:
        work.append(
            f"Filters: check that the reader takes {len(masks)} per query (C1G2LLRPCapabilities, "
            "MaxNumSelectFiltersPerQuery)."
        )
    work += chain_notes(masks)
    work.append(
        "Channel: HopTableID and ChannelIndex must be those of the reader's own regulatory region."
    )
    work.append(
        "Power: the table holds conducted power. With antenna gain and cable loss keep the "
        "radiated power within local rules; licensed practice decides."
    )
    return tuple(work)


def llrp_document(
    levels_dbm: Sequence[float],
    masks: Sequence[Mask],
    table: PowerTable,
    *,
    stop_after: int = 1,
    keep: Keep | None = None,
    step_s: float | None = None,
    in_turn: bool = False,
) -> dict[str, Any]:
    """A strategy as plain JSON values: for each ladder step the parameters and their bytes (hex).

    Without antennas to tell apart, both parameters of a step belong into an AntennaConfiguration;
    else a step is an AISpec, which lists the antennas that are on and has a configuration for each,
    and ends after `step_s` (None: with the ROSpec); where they take turns (`in_turn`), an AISpec
    for each of them, one after the other. `keep` is what the host keeps. Raises InputError where a
    level is not in the reader's power table.
    """
    keep = keep or Keep()
    inventory: dict[str, Any] = {
        "TagInventoryStateAware": 0,
        "C1G2Filter": filter_parameters(masks),
    }
    steps = []
    for number, level in enumerate(levels_dbm, 1):
        if keep.score is None or keep.score.on is None:
            parameters: dict[str, Any] = {
                "RFTransmitter": _transmitter(table, level),
                "C1G2InventoryCommand": inventory,
            }
        else:
            trims = dict(keep.score.trim_db) if isinstance(keep.score, Peak) else {}
            powers = {a: round(level + trims.get(a, 0.0), DECIMALS) for a in keep.score.on}
            turns = [{a: dbm} for a, dbm in powers.items()] if in_turn else [powers]
            first = 1 + (number - 1) * len(turns)
            specs = [
                _ai_spec(n, one, inventory, table, step_s) for n, one in enumerate(turns, first)
            ]
            parameters = {"AISpec": specs if len(specs) > 1 else specs[0]}
        coded = {name: _coded(name, fields) for name, fields in parameters.items()}
        steps.append({"step": number, "power_dbm": level, "parameters": parameters, "bytes": coded})
    work = host_work(levels_dbm, stop_after, keep, masks)
    if in_turn:
        lasts = "a turn of its own" if step_s is None else f"a turn of {figure(step_s)} s"
        work = (f"Turns: give each antenna that is on {lasts} in every step.", *work)
    return {
        "format": "llrp",
        "steps": steps,
        **_kept(keep),
        "stop_after": stop_after,
        "host_work": list(work),
    }


def _coded(name: str, fields: dict[str, Any] | list[dict[str, Any]]) -> str:
    """A parameter, or several in a row, as hex."""
    several = fields if isinstance(fields, list) else [fields]
    return b"".join(encode_parameter(name, one) for one in several).hex().upper()


def _kept(keep: Keep) -> dict[str, Any]:
    """What the host keeps, as JSON; the score only where there is one."""
    if isinstance(keep.score, Difference):
        return {"score": keep.score.to_json(), "keep_from_db": keep.at_least}
    found: dict[str, Any] = {"keep_from_dbm": keep.at_least}
    if keep.by_antenna:
        found["keep_from_dbm_by_antenna"] = {str(a): dbm for a, dbm in keep.by_antenna}
    return found if keep.score is None else {"score": keep.score.to_json(), **found}


def _transmitter(table: PowerTable, level_dbm: float) -> dict[str, int]:
    return {"HopTableID": 1, "ChannelIndex": 1, "TransmitPower": table.index_of(level_dbm)}


def _ai_spec(
    number: int,
    powers_dbm: Mapping[int, float],
    inventory: dict[str, Any],
    table: PowerTable,
    step_s: float | None,
) -> dict[str, Any]:
    """The inventory of one step by the antennas that are on, each at its power."""
    until = {"AISpecStopTriggerType": 0, "DurationTrigger": 0}
    if step_s is not None:
        until = {"AISpecStopTriggerType": 1, "DurationTrigger": round(1000 * step_s)}
    configurations = [
        {
            "AntennaID": antenna,
            "RFTransmitter": _transmitter(table, level),
            "C1G2InventoryCommand": inventory,
        }
        for antenna, level in powers_dbm.items()
    ]
    return {
        "AntennaIDs": list(powers_dbm),
        "AISpecStopTrigger": until,
        "InventoryParameterSpec": {
            "InventoryParameterSpecID": number,
            "ProtocolID": _GEN2,
            "AntennaConfiguration": configurations,
        },
    }


def llrp_lines(document: dict[str, Any]) -> tuple[str, ...]:
    """The document of `llrp_document` as lines for a person."""
    lines = []
    for step in document["steps"]:
        parameters = step["parameters"]
        if "AISpec" in parameters:
            specs = parameters["AISpec"]
            configurations = [
                one
                for spec in (specs if isinstance(specs, list) else [specs])
                for one in spec["InventoryParameterSpec"]["AntennaConfiguration"]
            ]
            powers = ", ".join(
                f"antenna {one['AntennaID']} TransmitPower {one['RFTransmitter']['TransmitPower']}"
                for one in configurations
            )
            lines.append(f"Step {step['step']}: {step['power_dbm']:g} dBm; {powers}")
            inventory = configurations[0]["C1G2InventoryCommand"]  # alike for all of them
        else:
            power = parameters["RFTransmitter"]["TransmitPower"]
            lines.append(f"Step {step['step']}: {step['power_dbm']:g} dBm, TransmitPower {power}")
            inventory = parameters["C1G2InventoryCommand"]
        for number, one in enumerate(inventory["C1G2Filter"], 1):
            mask, action = one["C1G2TagInventoryMask"], one[_UNAWARE]["Action"]
            lines.append(
                f"  filter {number}: MB {mask['MB']}, Pointer {mask['Pointer']}, MaskBitCount "
                f"{mask['MaskBitCount']}, TagMask {mask['TagMask']}, Action {action} "
                f"({UNAWARE_ACTIONS[action]})"
            )
        lines += [f"  {name} bytes {coded}" for name, coded in step["bytes"].items()]
    return (*lines, "Work for the host:", *(f"  {said}" for said in document["host_work"]))
