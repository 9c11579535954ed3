"""A read point without gaps: levels not surveyed are predicted where the policy says so.

What is measured stays as measured. Whatever cannot be predicted goes the way of `untried`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from strategist.errors import InputError
from strategist.radio.tag_link import fill
from strategist.survey.order import figure, some
from strategist.survey.policy import (
    DECIMALS,
    PREDICT_BETWEEN_DB,
    PREDICT_BEYOND_DB,
    RSSI_DBM_MAX,
    RSSI_DBM_MIN,
    Policy,
)
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, Predicted, ReadPoint, Survey

FINEST_DB, COARSEST_DB = 0.1, 1.0  # predicted RSSI comes in the survey's own steps, within these
CELLS_MIN = 20  # fewer hidden cells say nothing of an error
RIGHT_MIN = 0.9  # share of cells foreseen right below which the warning says so; our own choice


def complete(read_point: ReadPoint) -> ReadPoint:
    """A read point without untried pairs, by its policy; the same one if it has none.

    With `predict_levels`, the pairs within reach get predicted reads, marked in the survey's
    `predicted`, from the tag's other reads in that pass (`radio.tag_link`). What is predicted or
    left out is said in a warning. Raises InputError where the policy is to refuse untried pairs,
    naming them, and where nothing would be left.
    """
    survey = read_point.survey
    if read_point.policy.predict_levels:
        asked = within_reach(survey.levels_dbm, survey.tried)
        if asked.any():
            survey = _predicted(survey, asked)
            read_point = replace(
                read_point, survey=survey, warnings=(*read_point.warnings, _said(survey))
            )
    return _leave_out(read_point)


def _leave_out(read_point: ReadPoint) -> ReadPoint:
    """A read point without its untried levels or passes, whichever its policy gives up."""
    survey, policy = read_point.survey, read_point.policy
    if survey.tried.all():
        return read_point
    path = ("read_points", survey.read_point, "untried")
    if policy.untried == "refuse":
        pairs = survey.untried_pairs()
        listed = some([f"{pass_id} at {figure(level)} dBm" for pass_id, level in pairs])
        many = "1 pair of pass and level was" if len(pairs) == 1 else f"{len(pairs)} pairs were"
        wrong = f"{many} not surveyed{_unforeseen(policy)}: {listed}"
        todo = (
            "Survey them (plan says which are worth it, and when it is enough), or set untried to "
            "leave_out_level or leave_out_pass."
        )
        raise InputError.one("site.json", policy.untried, todo, path=path, wrong=wrong)
    if policy.untried == "leave_out_level":
        keep = np.logical_and.reduce(survey.tried, axis=0)
        kind = "levels"
        left_out = [f"{figure(level)} dBm" for level in survey.levels_dbm[~keep]]
    else:
        keep = np.logical_and.reduce(survey.tried, axis=1)
        kind = "passes"
        left_out = [survey.pass_ids[p] for p in np.flatnonzero(~keep)]
    if not keep.any():
        other = "leave_out_pass" if kind == "levels" else "leave_out_level"
        wrong = f"each of the {len(keep)} {kind} has a pair that was not surveyed, so none is left"
        todo = f"Set it to {other}, or survey what is missing."
        raise InputError.one("site.json", policy.untried, todo, path=path, wrong=wrong)
    kept = survey.keep(levels=keep) if kind == "levels" else survey.keep(passes=keep)
    warning = (
        f"{len(left_out)} of {len(keep)} {kind} left out, since they were not surveyed in full "
        f"(untried: {policy.untried}): {some(left_out)}."
    )
    return replace(read_point, survey=kept, warnings=(*read_point.warnings, warning))


def _unforeseen(policy: Policy) -> str:
    if not policy.predict_levels:
        return ""
    between, beyond = figure(PREDICT_BETWEEN_DB), figure(PREDICT_BEYOND_DB)
    return (
        f" and out of reach of predict_levels (between levels surveyed at most {between} dB apart, "
        f"or {beyond} dB beyond the last; a level at which nothing was read belongs in tried.csv)"
    )


def within_reach(levels_dbm: Floats, tried: Bools) -> Bools:
    """Which untried pairs can be predicted; `tried` has shape (passes, levels).

    Those between two levels tried in the pass and at most `PREDICT_BETWEEN_DB` apart, or at most
    `PREDICT_BEYOND_DB` beyond the lowest or the highest.
    """
    power = np.broadcast_to(levels_dbm, tried.shape)
    below = np.maximum.accumulate(np.where(tried, power, -np.inf), axis=1)
    above = np.minimum.accumulate(np.where(tried, power, np.inf)[:, ::-1], axis=1)[:, ::-1]
    ends = np.isinf(below) | np.isinf(above)
    nearest = np.minimum(power - below, above - power)
    reach = np.where(ends, nearest <= PREDICT_BEYOND_DB, above - below <= PREDICT_BETWEEN_DB)
    found: Bools = reach & ~tried
    return found


@dataclass(frozen=True, eq=False)
class _Links:
    """What the link model reads: the peaks of roster entries, their passes and tag types."""

    levels_dbm: Floats
    peaks: Floats
    entry_pass: Ints
    kind: Ints

    def error(self, tried: Bools) -> tuple[float, float | None]:
        """(95 % error of RSSI in dB, share of cells right), every other level of a pass hidden.

        The levels at the ends of what is left are not hidden. With too few cells the error is the
        widest step of a pass, as far as RSSI can move in it, and the share None.
        """
        off, right = [], []
        for parity in (0, 1):
            hidden = tried & (np.cumsum(tried, axis=1) % 2 == parity)
            left = tried & ~hidden
            inside = np.logical_or.accumulate(left, axis=1)
            inside &= np.logical_or.accumulate(left[:, ::-1], axis=1)[:, ::-1]
            seen = np.where(hidden[self.entry_pass], np.nan, self.peaks)
            asked = (hidden & inside)[self.entry_pass]
            found = fill(self.levels_dbm, seen, self.kind, asked).peaks[asked]
            real = self.peaks[asked]
            both = np.isfinite(found) & np.isfinite(real)
            off.append(np.abs(found[both] - real[both]))
            right.append(np.isfinite(found) == np.isfinite(real))
        errors, foreseen = np.concatenate(off), np.concatenate(right)
        share = float(foreseen.mean()) if len(foreseen) >= CELLS_MIN else None
        if len(errors) >= CELLS_MIN:
            return float(np.quantile(errors, 0.95)), share
        return _widest(self.levels_dbm, tried), share


def _widest(levels_dbm: Floats, tried: Bools) -> float:
    """The widest step (dB) between levels tried in a pass, at least how far beyond is reached."""
    steps = [np.diff(levels_dbm[row]).max(initial=0.0) for row in np.unique(tried, axis=0)]
    return max(PREDICT_BEYOND_DB, float(max(steps)))


def _predicted(survey: Survey, asked: Bools) -> Survey:
    """The survey with predicted reads in the pairs asked for, each antenna by its own reads."""
    parts = [_foreseen(survey, asked, antenna) for antenna in survey.antennas or (None,)]
    reads = [part.reads for part in parts]
    columns = [
        np.concatenate([getattr(survey, f"read_{name}"), *(part[name] for part in reads)])
        for name in ("pass", "level", "tag", "rssi")
    ]
    more: dict[str, Any] = {}
    count = sum(len(part["pass"]) for part in reads)
    if survey.read_antenna is not None:
        more["read_antenna"] = np.concatenate([survey.read_antenna, *(p["antenna"] for p in reads)])
    if survey.read_count is not None:
        more["read_count"] = np.append(survey.read_count, np.ones(count, np.int64))
    for name in ("read_t_s", "read_channel_mhz"):
        if getattr(survey, name) is not None:
            more[name] = np.append(getattr(survey, name), np.full(count, np.nan))
    order = np.lexsort((*more.values(), *columns[::-1]))
    rights = [part.right for part in parts if part.right is not None]
    return replace(
        survey,
        read_pass=columns[0][order],
        read_level=columns[1][order],
        read_tag=columns[2][order],
        read_rssi=columns[3][order],
        **{name: column[order] for name, column in more.items()},
        tried=survey.tried | asked,
        predicted=Predicted(
            asked,
            _up(min(max(part.turn_on_db for part in parts), PREDICT_BETWEEN_DB)),
            _up(max(part.rssi_db for part in parts)),
            min(rights, default=None),
        ),
    )


@dataclass(frozen=True, eq=False)
class _Foreseen:
    """Predicted reads as columns, their errors, and the share of hidden cells foreseen right."""

    reads: dict[str, Any]
    turn_on_db: float
    rssi_db: float
    right: float | None


def _foreseen(survey: Survey, asked: Bools, antenna: int | None) -> _Foreseen:
    """What one antenna would hear in the pairs asked for (None: the only one)."""
    named, own = survey.read_antenna, survey
    if antenna is not None and named is not None:
        own = survey.with_reads(named == antenna)
    types = [tag.tag_type or "" for tag in survey.tags]
    _, kind = np.unique(np.array(types), return_inverse=True)
    links = _Links(
        survey.levels_dbm, peaks(own), survey.roster_pass, kind.reshape(-1)[survey.roster_tag]
    )
    filled = fill(links.levels_dbm, links.peaks, links.kind, asked[survey.roster_pass])
    entry, level = np.nonzero(asked[survey.roster_pass] & np.isfinite(filled.peaks))
    rssi_db, right = links.error(survey.tried)
    step = _step(survey.read_rssi)
    rssi = np.round(np.round(filled.peaks[entry, level] / step) * step, DECIMALS)
    reads = {
        "pass": survey.roster_pass[entry],
        "level": level,
        "tag": survey.roster_tag[entry],
        "rssi": np.clip(rssi, RSSI_DBM_MIN, RSSI_DBM_MAX),
        "antenna": np.full(len(entry), antenna or 0),
    }
    return _Foreseen(reads, filled.turn_on_db, rssi_db, right)


def _up(db: float) -> float:
    """An error as it is told and used: to 0.1 dB, never less than it is."""
    return round(math.ceil(round(10 * db, DECIMALS)) / 10, 1)


def _step(rssi: Floats) -> float:
    """The least distance between RSSI values of the survey, within what readers report in."""
    steps = np.diff(np.unique(rssi))
    return float(
        np.round(np.clip(steps.min(initial=COARSEST_DB), FINEST_DB, COARSEST_DB), DECIMALS)
    )


def _said(survey: Survey) -> str:
    predicted = survey.predicted
    assert predicted is not None
    levels = survey.levels_dbm[predicted.pairs.any(axis=0)]
    text = (
        f"{predicted.pairs.sum()} of {predicted.pairs.size} pairs of pass and level were not "
        f"surveyed and are predicted, at {some([figure(x) for x in levels])} "
        f"dBm: turn-on to within {figure(predicted.turn_on_db)} dB and RSSI to within "
        f"{figure(predicted.rssi_db)} dB (95 %)"
    )
    if predicted.right is None:
        return f"{text}; too few cells to test that on."
    right = f"{100 * predicted.right:.3g} %"
    text += f"; with surveyed levels hidden, {right} of cells were foreseen right."
    if predicted.right < RIGHT_MIN:
        text += " Reads come and go too much here to be foreseen: survey these levels."
    return text
