"""From the judged rows of one read point to its survey; finds what rows and files contradict."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from strategist.errors import Fault
from strategist.survey.faults import FaultList
from strategist.survey.many import distinct, order_by
from strategist.survey.numbering import ADVICE, Shift, shift_of
from strategist.survey.occasions import said_of_passes
from strategist.survey.order import figure, natural, some
from strategist.survey.policy import InConditions, Policy
from strategist.survey.records import Bools, Floats, Ints, ReadPoint, Survey, Tag
from strategist.survey.rows import Axes, PointRows, Rows, names_in
from strategist.survey.tried import dwell_of, levels_of, tried_at


def build(point: PointRows, warnings: list[str], faults: FaultList) -> list[ReadPoint]:
    """The read point, alone in a list, or an empty list after adding its faults."""
    found = FaultList()
    if not len(point.roster):
        allowed = "at least one, or leave the read point out of the other files"
        wrong = f'no row of read point "{point.name}"'
        source = point.roster.source
        faults.add(Fault(source, None, "read_point", "", allowed, wrong=wrong))
        return []
    axes = _axes(point)
    roster_pair, read_pair = axes.pair_of(point.roster), axes.pair_of(point.reads)
    _refuse_twice(point.roster, roster_pair, found)
    tags = _tags(point.roster, axes, found)
    levels = levels_of(point, warnings, found)
    point = point.at_levels(levels)
    tried = tried_at(point, axes, levels, warnings, found)
    dwell_s = dwell_of(point, axes, levels, tried, found)
    _refuse_antennas(point, found)
    of_passes = said_of_passes(point, axes, found)
    listed = np.isin(read_pair, roster_pair)
    keep = _judge_unlisted(point, axes, ~listed, warnings, found)
    if found:
        faults.extend(found)
        return []
    off_roster = sorted(set(axes.passes) - names_in("pass_id", point.roster), key=natural)
    if off_roster:
        warnings.append(
            "Passes without a roster row, taken as passes in which no listed tag was present: "
            f"{some(off_roster)}."
        )
    if not keep.all():
        point = replace(point, files={**point.files, "reads": point.reads.take(keep)})
        read_pair = read_pair[keep]
    warnings += _assumed(point)
    pairs = roster_pair, read_pair
    survey = _survey(point, axes, pairs, tags, levels, tried=tried, dwell_s=dwell_s, **of_passes)
    warnings += _idle(point.policy, survey)
    return [ReadPoint(survey, point.policy, tuple(warnings))]


def _assumed(point: PointRows) -> list[str]:
    """What is supposed of the reader as long as the planner does not say it, in a sentence."""
    reader = point.policy.reader
    words = {
        "ladder_steps_max": f"ladders of at most {reader.ladder_steps_max} levels",
        "mask_slots": f"chains of at most {reader.mask_slots} masks (an LLRP reader reports its "
        "number as MaxNumSelectFiltersPerQuery)",
        "mask_step_bits": f"masks that start and end on multiples of {reader.mask_step_bits} bits",
    }
    keys = [
        name
        for name in reader.assumed()
        if ("ladder" if name == "ladder_steps_max" else "masks") in point.policy.allow
    ]
    if not keys:
        return []
    told, named = (
        " and ".join(filter(None, (", ".join(each[:-1]), each[-1])))
        for each in ([words[name] for name in keys], [f"reader.{name}" for name in keys])
    )
    return [
        f"Assumed of the reader as long as nothing is said of it: {told}. Look it up and set "
        f"{named}."
    ]


def _idle(policy: Policy, survey: Survey) -> list[str]:
    """What the policy asks for that this survey gives nothing for."""
    said = []
    if policy.conditions != InConditions() and not any((*survey.pass_condition, *survey.pass_day)):
        said.append(
            "conditions in site.json changes nothing here: passes.csv names no condition and no "
            "day of any pass."
        )
    if policy.reader.antenna_power == "own" and survey.read_antenna is None:
        said.append(
            "reader.antenna_power is own, which changes nothing here: no read names its antenna."
        )
    return said


def _axes(point: PointRows) -> Axes:
    passes = names_in("pass_id", point.roster, point.reads, point.tried, point.passes)
    epcs = names_in("epc", point.roster, point.reads)
    return Axes(tuple(sorted(passes, key=natural)), tuple(sorted(epcs)))


def _refuse_twice(roster: Rows, pair: Ints, faults: FaultList) -> None:
    """A tag stands once on the roster of a pass."""
    _, first, which = np.unique(pair, return_index=True, return_inverse=True)
    again = np.flatnonzero(first[which] != np.arange(len(roster)))
    faults.add_rows(
        roster.source,
        "epc",
        roster.lines[again],
        lambda i: roster.texts["epc"][again[i]],
        lambda _: "each tag once in a pass",
        wrong=lambda i: (
            f"{roster.texts['epc'][again[i]]} is listed already for pass "
            f'"{roster.texts["pass_id"][again[i]]}", '
            f"in line {roster.lines[first[which[again[i]]]]}"
        ),
    )


def _tags(roster: Rows, axes: Axes, faults: FaultList) -> tuple[Tag, ...]:
    """The tags of the EPC axis; what a tag carries may be given on any of its rows."""
    tag = axes.tag_of(roster)
    tid, user, tag_type = (
        _carried(roster, tag, column, faults) for column in ("tid", "user", "tag_type")
    )
    return tuple(
        Tag(epc, tid.get(i), user.get(i), tag_type.get(i)) for i, epc in enumerate(axes.epcs)
    )


def _carried(roster: Rows, tag: Ints, name: str, faults: FaultList) -> dict[int, str]:
    """Tag index → value of a column where any row gives one; rows that differ are faults."""
    if name not in roster.texts:
        return {}
    column = roster.texts[name]
    given = np.flatnonzero(np.array([bool(v) for v in column.values], bool)[column.codes])
    owners, first, which = np.unique(tag[given], return_index=True, return_inverse=True)
    source_row = given[first]
    differs = np.flatnonzero(column.codes[given] != column.codes[source_row[which]])
    bad, good = given[differs], source_row[which[differs]]
    faults.add_rows(
        roster.source,
        name,
        roster.lines[bad],
        lambda i: column[bad[i]],
        lambda _: "the same for each row of a tag",
        wrong=lambda i: (
            f'"{column[bad[i]]}" differs from "{column[good[i]]}" in line '
            f"{roster.lines[good[i]]}, which is of the same EPC"
        ),
    )
    return {int(t): column[row] for t, row in zip(owners, source_row, strict=True)}


def _refuse_antennas(point: PointRows, faults: FaultList) -> None:
    """Where some reads name their antenna, all do, and one that exists where a list says which."""
    reads, known = point.reads, [antenna for antenna, _ in point.policy.antennas]
    antenna = reads.numbers.get("antenna")
    if antenna is None or np.isnan(antenna).all():
        return
    bad = np.flatnonzero(np.isnan(antenna) | (bool(known) & ~np.isin(antenna, known)))
    listed = f"one of the antennas in site.json: {some([str(one) for one in known])}"
    allowed = listed if known else "an antenna, since other rows of this read point name theirs"
    faults.add_rows(
        reads.source,
        "antenna",
        reads.lines[bad],
        lambda i: "" if np.isnan(antenna[bad[i]]) else figure(antenna[bad[i]]),
        lambda _: allowed,
    )


def _judge_unlisted(
    point: PointRows, axes: Axes, unlisted: Bools, warnings: list[str], faults: FaultList
) -> Bools:
    """Which reads stay, by the rule for tags that are read but not on the roster of the pass."""
    reads, rule = point.reads, point.policy.unlisted
    rows = np.flatnonzero(unlisted)
    epc = reads.texts["epc"]
    _, first, count = np.unique(epc.codes[rows], return_index=True, return_counts=True)
    if rule == "ignore" and len(rows):
        warnings.append(
            f"{len(rows)} reads of {len(count)} tags that are not on the roster of their pass "
            "were ignored, as site.json asks."
        )
        shift = _shift(point, axes)
        if shift is not None:
            warnings.append(f"{shift.text(axes.passes)} {ADVICE}")
    if rule == "error":
        by_line = np.argsort(first)
        shown, count = rows[first[by_line]], count[by_line]
        shift = _shift(point, axes)
        if shift is not None:
            which = "next" if shift.step > 0 else "previous"
            value = f"{shift.fit_neighbour} of {shift.judged} passes fit the {which} one's reads"
            allowed = f"Give the pass ids of {point.reads.source} for the same loads. {ADVICE}"
            source, wrong = point.roster.source, f"{value} better than their own"
            faults.add(Fault(source, None, "pass_id", value, allowed, wrong=wrong))
        faults.add_rows(
            reads.source,
            "epc",
            reads.lines[shown],
            lambda i: epc[shown[i]],
            lambda _: "Add the tag to the roster, or set unlisted to stray or ignore in site.json.",
            wrong=lambda i: (
                f"{epc[shown[i]]} is not on the roster of pass "
                f'"{reads.texts["pass_id"][shown[i]]}" ({count[i]} such '
                f"read{'' if count[i] == 1 else 's'} of this tag), and unlisted is error"
            ),
        )
    return ~unlisted if rule == "ignore" else np.ones(len(reads), bool)


def _shift(point: PointRows, axes: Axes) -> Shift | None:
    """Whether roster and reads number the passes differently; for reads that do not stay."""
    role, reads = point.roster.texts["role"], point.reads
    wanted = np.array([name == "wanted" for name in role.values], bool)[role.codes]
    level = np.unique(reads.numbers["power_dbm"], return_inverse=True)[1]
    return shift_of(
        np.column_stack([axes.pass_of(point.roster), axes.tag_of(point.roster)]),
        wanted,
        np.column_stack([axes.pass_of(reads), level, axes.tag_of(reads)]),
        len(axes.passes),
    )


def _survey(
    point: PointRows,
    axes: Axes,
    pairs_of: tuple[Ints, Ints],
    tags: tuple[Tag, ...],
    levels: Floats,
    **said: Any,
) -> Survey:
    """The survey of sound rows, in an order that does not depend on theirs; `pairs_of` the roster
    and the reads, `said` is what else it holds."""
    roster_pair, read_pair = pairs_of
    pairs = distinct(read_pair, len(axes.passes) * len(axes.epcs))
    extra = np.setdiff1d(pairs, roster_pair, assume_unique=True)
    roles = point.roster.texts["role"]
    wanted = np.array([role == "wanted" for role in roles.values], bool)[roles.codes]
    pair = np.concatenate([roster_pair, extra])
    order = np.argsort(pair)
    roster_pass, roster_tag = np.divmod(pair[order], len(axes.epcs))
    read_pass, read_tag = np.divmod(read_pair, len(axes.epcs))
    read_level = np.searchsorted(levels, point.reads.numbers["power_dbm"])
    rssi = point.reads.numbers["rssi_dbm"]
    known = (number for number, _ in point.policy.antennas)
    more = {name: _told(point.reads, name) for name in ("antenna", "reads", "t_s", "channel_mhz")}
    told = [column for column in more.values() if column is not None]
    place = (read_pass * len(levels) + read_level) * len(axes.epcs) + read_tag
    sequence = order_by(place, rssi, *told)
    antenna, count, t_s, channel = (
        None if column is None else column[sequence] for column in more.values()
    )
    present, roster_tag = np.unique(roster_tag, return_inverse=True)
    named = set() if antenna is None else {*antenna.astype(int).tolist(), *known}
    return Survey(
        read_point=point.name,
        levels_dbm=levels,
        pass_ids=axes.passes,
        tags=tuple(tags[i] for i in present),
        roster_pass=roster_pass,
        roster_tag=roster_tag,
        roster_wanted=np.append(wanted, np.zeros(len(extra), bool))[order],
        roster_listed=(np.arange(len(pair)) < len(roster_pair))[order],
        read_pass=read_pass[sequence],
        read_level=read_level[sequence],
        read_tag=np.searchsorted(present, read_tag[sequence]),
        read_rssi=rssi[sequence],
        antennas=tuple(sorted(named)),
        read_antenna=None if antenna is None else antenna.astype(np.int64),
        read_count=None if count is None else np.nan_to_num(count, nan=1.0).astype(np.int64),
        read_t_s=t_s,
        read_channel_mhz=channel,
        **said,
    )


def _told(reads: Rows, name: str) -> Floats | None:
    """A column of numbers that a case may lack; None where no row gives one."""
    column = reads.numbers.get(name)
    return None if column is None or np.isnan(column).all() else column
