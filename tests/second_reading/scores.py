"""Scores, read a second time: from a case with antennas and times to one whose reads are scores.

"Accepted where the score is at least the cutoff" is all that a score changes, so a case in which
each tag has its score as its only read says the same in the words of `survey`.
"""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from tests.second_reading.survey import NotAnsweredError, exact

Json = dict[str, Any]


def heard(document: Json, name: str, strategy: Json) -> tuple[Json, Json]:
    """The case and the strategy in scores."""
    score = strategy.get("score") or {"kind": "peak"}
    policy = document["site"]["read_points"][name]
    rows = _rows_that_count(document, policy)
    roster = [*document["roster"], *_unlisted(document, rows)]
    trims = {int(a): exact(db) for a, db in score.get("trim_db", {}).items()}
    known = {row["antenna"] for row in rows if "antenna" in row}
    on = score.get("antennas") and [*score["antennas"], *score.get("against", [])]
    if not {*(on or []), *trims, *map(int, score.get("offset_db", {}))} <= known:
        raise NotAnsweredError("an antenna that no read names")
    antennas = sorted(set(on or known) or {0})
    levels = {exact(level) for level in policy["levels_dbm"]}
    steps = [x for x in levels if all(x + trims.get(a, 0) in levels for a in antennas)]
    floor = score.get("floor_dbm")
    if floor is None and rows:
        floor = min(exact(row["rssi_dbm"]) for row in rows) - 1
    latest = _latest(policy, strategy)
    by_tag: dict[tuple[str, Decimal, str], list[tuple[int, Decimal]]] = defaultdict(list)
    for row in rows:
        antenna, time = row.get("antenna", 0), row.get("t_s")
        step = exact(row["power_dbm"]) - trims.get(antenna, 0)
        late = latest is not None and time is not None and exact(time) > latest
        if antenna in antennas and step in steps and not late:
            read = (antenna, exact(row["rssi_dbm"]))
            by_tag[row["pass_id"], step, row["epc"].upper()].append(read)
    reads = []
    for (pass_id, step, epc), one in by_tag.items():
        number = _score(score, one, floor)
        if number is not None:
            row = {"read_point": name, "pass_id": pass_id, "power_dbm": step, "epc": epc}
            reads.append({**row, "rssi_dbm": number})
    guard = dict(policy.get("guard", {}))
    if score["kind"] == "difference":  # both sides drift
        guard["rssi_db"] = 2 * exact(guard.get("rssi_db", 2))
    own = {**policy, "levels_dbm": sorted(steps), "guard": guard, "unlisted": "stray"}
    if latest is not None:
        own["time"] = {**policy["time"], "step_s": latest}
        if policy["time"].get("in_turn"):
            own["time"]["turns"] = len(antennas)
    site = {"read_points": {name: own}}
    case = {"site": site, "reads": reads, "roster": roster}
    if document.get("tried") is not None:
        case["tried"] = document["tried"]
    cutoff = strategy.get("cutoff_db" if score["kind"] == "difference" else "cutoff_dbm")
    return case, {**strategy, "score": None, "cutoff_dbm": cutoff}


def choices(document: Json, name: str) -> list[tuple[tuple[Any, ...], Json]]:
    """What may be chosen beside ladder, cutoff and masks: scores and dwells of a step, each as a
    part of a strategy, with the work that it makes: the kind of score, reads to count, antennas to
    switch off, seconds."""
    policy = document["site"]["read_points"][name]
    given = policy.get("time", {}).get("step_s")
    timed = any(row.get("t_s") is not None for row in document["reads"])
    dwells = sorted(given) if isinstance(given, list) else [given]
    dwells = dwells if timed else dwells[-1:]
    found = []
    for (work, score), step_s in itertools.product(_scores(document, policy), dwells):
        own = {} if score is None else {"score": score}
        chosen = own | ({"step_s": step_s} if isinstance(given, list) else {})
        found.append(((*work, step_s or 0), chosen))
    return found


def _scores(document: Json, policy: Json) -> Iterator[tuple[tuple[int, ...], Json | None]]:
    yield (0, 0, 0), None
    rows = _rows_that_count(document, policy)
    antennas = sorted({row["antenna"] for row in rows})
    if "antennas" not in policy.get("allow", ["antennas"]) or len(antennas) < 2:
        return
    for sides in itertools.product(("off", "on"), repeat=len(antennas)):
        on = [a for a, side in zip(antennas, sides, strict=True) if side == "on"]
        if 0 < len(on) < len(antennas):
            yield (0, 0, len(antennas) - len(on)), {"kind": "peak", "antennas": on}
        counts = Counter(
            (row["pass_id"], row["power_dbm"], row["epc"].upper())
            for row in rows
            if row["antenna"] in on
        )
        for n in range(2, max(counts.values(), default=0) + 1):
            some = {} if len(on) == len(antennas) else {"antennas": on}
            yield (1, n, len(antennas) - len(on)), {"kind": "nth", "n": n} | some
    for sides in itertools.product(("off", "facing", "against"), repeat=len(antennas)):
        facing, against = (
            [a for a, own in zip(antennas, sides, strict=True) if own == side]
            for side in ("facing", "against")
        )
        if facing and against:
            off = len(antennas) - len(facing) - len(against)
            yield (2, 0, off), {"kind": "difference", "antennas": facing, "against": against}


def _rows_that_count(document: Json, policy: Json) -> list[Json]:
    listed = {(row["pass_id"], row["epc"].upper()) for row in document["roster"]}
    if policy.get("unlisted", "stray") != "ignore":
        return list(document["reads"])
    return [row for row in document["reads"] if (row["pass_id"], row["epc"].upper()) in listed]


def _unlisted(document: Json, rows: list[Json]) -> list[Json]:
    """Tags that were read without being on the roster are strays, also where their reads do not
    count towards a score."""
    listed = {(row["pass_id"], row["epc"].upper()) for row in document["roster"]}
    more = {(row["pass_id"], row["epc"].upper()) for row in rows} - listed
    point = document["roster"][0]["read_point"]
    return [
        {"read_point": point, "pass_id": pass_id, "epc": epc, "role": "stray"}
        for pass_id, epc in sorted(more)
    ]


def _latest(policy: Json, strategy: Json) -> Decimal | None:
    """How long a step listens: as the strategy says, else the longest of the policy."""
    given = strategy.get("step_s") or policy.get("time", {}).get("step_s")
    if given is None:
        return None
    return max(exact(one) for one in (given if isinstance(given, list) else [given]))


def _score(score: Json, reads: list[tuple[int, Decimal]], floor: Any) -> Decimal | None:
    if score["kind"] == "nth":
        strongest = sorted((rssi for _, rssi in reads), reverse=True)
        return strongest[score["n"] - 1] if len(strongest) >= score["n"] else None
    if score["kind"] == "difference":
        facing, against = (
            max([exact(floor), *(rssi for a, rssi in reads if a in score[side])])
            for side in ("antennas", "against")
        )
        return facing - against
    offsets = {int(a): exact(db) for a, db in score.get("offset_db", {}).items()}
    return max(rssi - offsets.get(antenna, 0) for antenna, rssi in reads)
