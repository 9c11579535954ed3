"""Random small cases in JSON, and random strategies for them; the same ones each time.

Readability is not monotonic in power, tags change roles from pass to pass, reads repeat, letters of
hex come in either case, tags lack banks or are too short for masks.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

Json = dict[str, Any]
NAME = "door"
_LOSSES = ({}, {"missed": 2, "stray": 1}, {"missed": 1, "stray": 3}, {"missed": 0.7, "stray": 0.1})
_GUARDS = ({}, {"power_db": 0, "rssi_db": 0}, {"power_db": 1.5, "rssi_db": 0.3}, {"power_db": 2.5})
_SPANS = ([10, 11, 12], [10, 11, 12.5, 14], [10, 10.5], [9.7, 11.2, 12.2, 13.3])


def case(seed: int) -> Json:
    """A case document of one read point; every third has SGTIN-96 EPCs, the others plain data."""
    rng = random.Random(seed)
    structured = seed % 3 == 0
    tags = _structured_tags(rng) if structured else _plain_tags(rng)
    levels = rng.choice(_SPANS)
    policy: Json = {
        "levels_dbm": levels,
        "aim": "survey",
        "unlisted": rng.choice(["stray", "ignore"]),
        "loss": rng.choice(_LOSSES),
        "stop_after": rng.choice([1, 1, 2, 3]),
        "guard": rng.choice(_GUARDS),
        "limits": _limits(rng),
        "serial_masks": not structured,
        "reader": {
            "ladder_steps_max": rng.randint(1, 3),
            "mask_slots": rng.randint(0, 3),
            "mask_step_bits": rng.choice([4, 8, 8, 16]),
            "mask_bits_max": rng.choice([96, 16, 24]),
        },
    }
    if rng.random() < 0.4:
        fewer = ["power", "ladder"], ["ladder", "cutoff", "masks"], ["cutoff", "masks"]
        policy["allow"] = rng.choice([*fewer, ["power", "cutoff"], ["power", "masks"]])
    if rng.random() < 0.2:
        policy["time"] = {"dwell_s": 1.0, "step_s": rng.choice([0.3, 0.5, 0.6])}
    document: Json = {"site": {"read_points": {NAME: policy}}, "reads": [], "roster": []}
    pairs = []
    for number in range(rng.randint(2, 5)):
        for level in levels:
            if rng.random() < 0.88:
                pairs.append((f"p{number}", level))
        _present(rng, document, tags, f"p{number}", levels)
    if rng.random() < 0.5:
        policy["untried"] = rng.choice(["leave_out_level", "leave_out_pass", "refuse"])
        document["tried"] = [_row(name, power_dbm=level) for name, level in pairs]
        tried = set(pairs)
        document["reads"] = [
            row for row in document["reads"] if (row["pass_id"], row["power_dbm"]) in tried
        ]
    rng.shuffle(document["reads"])
    if seed % 2:
        policy["reader"]["rssi_step_db"] = None
    return document


def _row(pass_id: str, **columns: Any) -> Json:
    return {"read_point": NAME, "pass_id": pass_id, **columns}


def _limits(rng: random.Random) -> Json:
    limits: Json = {}
    if rng.random() < 0.3:
        limits["missed_rate_max"] = rng.choice([0.0, 0.2, 0.5])
    if rng.random() < 0.3:
        limits["stray_rate_max"] = rng.choice([0.0, 0.4, 1.0])
    return limits


def _plain_tags(rng: random.Random) -> list[Json]:
    """Two bytes or three of no known scheme, some with a short TID or user memory."""
    tags = []
    for epc in ("AB01", "AB02", "AC01", "AC0211", "AD01", "AD0211"):
        tag = {"epc": epc if rng.random() < 0.7 else epc.lower()}
        if rng.random() < 0.6:
            tag["tid"] = rng.choice(["A280", "A281"])
        if rng.random() < 0.3:
            tag["user"] = rng.choice(["01", "0102"])
        tags.append(tag)
    return tags


def _structured_tags(rng: random.Random) -> list[Json]:
    """SGTIN-96 with company prefixes of 7 and 11 digits, in the ranges kept for examples."""
    tags = []
    for serial in range(6):
        partition, company = rng.choice([(5, 9521141), (5, 9521142), (1, 95060001343)])
        company_bits = {5: 24, 1: 37}[partition]
        item, filter_value = rng.choice([1, 2, 99]), rng.choice([1, 3])
        value = 0x30 << 6 | filter_value << 3 | partition
        value = value << company_bits | company
        value = value << (44 - company_bits) | item
        tag = {"epc": f"{value << 38 | serial + 1:024X}"}
        if rng.random() < 0.7:
            flags, maker, model = rng.choice([0, 4, 6]), rng.choice([1, 3]), rng.choice([257, 258])
            if not flags & 4:  # no XTID: nothing more is recorded
                tag["tid"] = f"{0xE2 << 24 | flags << 21 | maker << 12 | model:08X}"
        tags.append(tag)
    return tags


def _present(
    rng: random.Random, document: Json, tags: Sequence[Json], name: str, levels: Sequence[float]
) -> None:
    """One pass: some tags, most of them listed, each with its own curve."""
    ragged = rng.choice([0.0, 0.15, 0.4])
    listed = 0
    for tag in rng.sample(list(tags), rng.randint(1, 4)):
        if rng.random() < 0.85 or not listed:
            role = rng.choice(["wanted", "wanted", "stray"])
            document["roster"].append(_row(name, role=role, **tag))
            listed += 1
        first, base = rng.randint(0, len(levels)), rng.randint(-70, -62)
        for step, level in enumerate(levels):
            for _ in range(rng.choice([1, 1, 2])):
                if step >= first and rng.random() >= ragged:
                    rssi = base + step + rng.choice([0, 0, 0.5, -0.3])
                    read = {"power_dbm": level, "epc": tag["epc"], "rssi_dbm": rssi}
                    document["reads"].append(_row(name, **read))


def strategy(seed: int, document: Json) -> Json:
    """A random strategy for a case: any ladder of its levels, cutoffs at and between values, masks
    that fit the tags, reach behind their ends, or look where no tag of the survey was recorded."""
    rng = random.Random(seed)
    levels = document["site"]["read_points"][NAME]["levels_dbm"]
    ladder = sorted(rng.sample(levels, rng.randint(1, len(levels))))
    cutoff = None
    if rng.random() < 0.6 and document["reads"]:
        cutoff = rng.choice(document["reads"])["rssi_dbm"] + rng.choice([0, 0, 0.25, 0.5, 2])
    masks: list[Json] = []
    for _ in range(rng.choice([0, 1, 1, 2, 3, 4])):
        mask = _mask(rng, document)
        masks.append({"join": rng.choice(["and", "or"]), **mask} if masks else mask)
    return {
        "levels_dbm": ladder,
        "stop_after": rng.choice([1, 1, 2, 3]),
        "cutoff_dbm": cutoff,
        "masks": masks,
    }


def _mask(rng: random.Random, document: Json) -> Json:
    tag = rng.choice(document["roster"])
    bank = rng.choice(["epc", "epc", "epc", "tid", "user"])
    data = tag.get(bank) or "A2"
    first, bits = (32 if bank == "epc" else 0), 4 * len(data)
    start = rng.randrange(bits)
    length = rng.randint(1, min(bits - start, 20))
    value = (int(data, 16) >> (bits - start - length)) & ((1 << length) - 1)
    if rng.random() < 0.15:
        start, length = rng.choice([(bits - 1, 3), (-16 if first else bits, length)])
        value &= (1 << length) - 1
    size = -(-length // 8)
    return {
        "bank": bank,
        "pointer": first + start,
        "length": length,
        "pattern": f"{value << (8 * size - length):0{2 * size}X}",
        "negate": rng.random() < 0.4,
    }


def case_with_antennas(seed: int) -> Json:
    """A case in which each read names one of two or three antennas and mostly a time; what an
    antenna hears differs from what the others do."""
    rng = random.Random(50_000 + seed)
    document = case(seed)
    antennas, policy = rng.choice([2, 2, 3]), document["site"]["read_points"][NAME]
    policy.pop("allow", None) if rng.random() < 0.7 else None
    timed, placed, repeated = (rng.random() < 0.5 for _ in range(3))
    again = []
    wanted = {(row["pass_id"], row["epc"]) for row in document["roster"] if row["role"] == "wanted"}
    for row in document["reads"]:
        near = 1 if (row["pass_id"], row["epc"]) in wanted else 2
        for antenna in rng.sample(range(1, antennas + 1), rng.choice([1, 1, 2])):
            heard = {**row, "antenna": antenna}
            heard["rssi_dbm"] = row["rssi_dbm"] + rng.choice([0, 0, -1, -2.5, -4])
            if placed and antenna != near:
                heard["rssi_dbm"] -= 3
            if repeated and near == 1 and rng.random() < 0.7:
                again.append({**heard, "rssi_dbm": heard["rssi_dbm"] - 1})
            if timed and rng.random() < 0.9:
                heard["t_s"] = rng.choice([0, 0.1, 0.3, 0.3, 0.5, 0.7, 2])
            again.append(heard)
    named = {row["antenna"] for row in again}
    for antenna in {1, 2} - named if again else ():  # two antennas at least are named
        again.append({**rng.choice(again), "antenna": antenna})
    document["reads"] = again
    if timed and rng.random() < 0.7:
        policy["time"] = {"step_s": rng.choice([0.3, 0.5, [0.3, 0.7], [0.1, 0.5, 1.0]])}
        if rng.random() < 0.6:
            policy["time"]["dwell_s"] = 1.0
    return document


def antennas_of(document: Json) -> list[int]:
    return sorted({row["antenna"] for row in document["reads"]})


def score(seed: int, document: Json) -> Json | None:
    """A random score of a case with antennas, as a rule one that it knows; None: none."""
    rng = random.Random(seed)
    antennas = antennas_of(document) or [1, 2]
    some = sorted(rng.sample(antennas, rng.randint(1, len(antennas))))
    kind = rng.choice(["none", "peak", "peak", "nth", "difference", "difference"])
    if kind == "none":
        return None
    if rng.random() < 0.05:
        some = [*some, 9]
    if kind == "nth":
        return {"kind": kind, "n": rng.randint(1, 3)} | (
            {"antennas": some} if rng.random() < 0.5 else {}
        )
    if kind == "difference":
        facing = rng.choice(antennas)
        against = [a for a in antennas if a != facing and rng.random() < 0.8] or [9]
        floor = {} if "tried" not in document and rng.random() < 0.5 else {"floor_dbm": -72.5}
        return {"kind": kind, "antennas": [facing], "against": against, **floor}
    chosen: Json = {"kind": kind, "antennas": some}
    if rng.random() < 0.5 and "tried" not in document:  # what is left out is left out before
        chosen["trim_db"] = {str(rng.choice(some)): rng.choice([-1, -1, 1, 0.5, -1.5])}
    if rng.random() < 0.4:
        chosen["offset_db"] = {str(rng.choice(some)): rng.choice([-3, 1.5, 4])}
    return chosen
