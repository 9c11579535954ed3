"""Which levels and which (pass, level) pairs of a read point were tried, and for how long."""

from __future__ import annotations

import numpy as np

from strategist.errors import Fault
from strategist.survey.faults import FaultList
from strategist.survey.order import figure, some
from strategist.survey.records import Bools, Floats, Ints
from strategist.survey.rows import Axes, PointRows, Rows


def levels_of(point: PointRows, warnings: list[str], faults: FaultList) -> Floats:
    """Levels of the policy, or with a warning those found; empty after adding a fault.

    Where one file is in milliwatts and another in dBm, the levels are those in dBm.
    """
    if point.policy.levels_dbm is not None:
        return np.array(point.policy.levels_dbm, np.float64)
    files = [point.reads] if point.tried is None else [point.reads, point.tried]
    exact = [rows.numbers["power_dbm"] for rows in files if not rows.in_mw]
    known = np.unique(np.concatenate(exact)) if exact else np.array([])
    found = [rows.at_levels(known).numbers["power_dbm"] for rows in files]
    levels = np.unique(np.concatenate(found))
    sources = " and ".join(rows.source for rows in files)
    if len(levels):
        span = f"{figure(levels[0])} to {figure(levels[-1])} dBm"
        warnings.append(
            f"{point.policy_source} gives no levels: the {len(levels)} found in {sources} "
            f"are taken ({span}); a level at which nothing was read may be lacking."
        )
    else:
        allowed = "the levels surveyed"
        wrong = f"is missing, and {sources} names no level of this read point"
        column = f"read_points.{point.name}.levels_dbm"
        path = ("read_points", point.name, "levels_dbm")
        faults.add(Fault(point.policy_source, None, column, "", allowed, path, wrong=wrong))
    return levels


def tried_at(
    point: PointRows, axes: Axes, levels: Floats, warnings: list[str], faults: FaultList
) -> Bools:
    """Which (pass, level) pairs were surveyed; reads at others are faults."""
    read_level = _level_of(point.reads, levels, faults)
    if point.tried is None:
        named = np.isin(np.arange(len(levels)), read_level) | (not point.policy.predict_levels)
        if not named.all():
            silent = some([figure(level) for level in levels[~named]])
            warnings.append(
                f"{(~named).sum()} of {len(levels)} levels count as not surveyed, since no read "
                f"names them: {silent} dBm. If they were tried and nothing was "
                "read, say so in tried.csv."
            )
        return np.tile(named, (len(axes.passes), 1))
    tried_level = _level_of(point.tried, levels, faults)
    tried = np.zeros((len(axes.passes), len(levels)), bool)
    known = tried_level >= 0
    tried[axes.pass_of(point.tried)[known], tried_level[known]] = True
    reads, source = point.reads, point.tried.source
    known = read_level >= 0
    stray = np.flatnonzero(known)[~tried[axes.pass_of(reads)[known], read_level[known]]]
    faults.add_rows(
        reads.source,
        "pass_id",
        reads.lines[stray],
        lambda i: reads.texts["pass_id"][stray[i]],
        lambda _: f"Add the pair to {source}, or correct the read.",
        wrong=lambda i: (
            f"{source} does not list pass {reads.texts['pass_id'][stray[i]]} at "
            f"{figure(reads.numbers['power_dbm'][stray[i]])} dBm"
        ),
    )
    return tried


def dwell_of(
    point: PointRows, axes: Axes, levels: Floats, tried: Bools, faults: FaultList
) -> Floats | None:
    """How long each pair was listened to (NaN: not given); None where no row says so.

    A read that comes later than its pair was listened to is a fault.
    """
    rows = point.tried
    if faults or rows is None or "dwell_s" not in rows.numbers:
        return None
    given = rows.numbers["dwell_s"]
    told = np.flatnonzero(np.isfinite(given))
    found = np.full(tried.shape, np.nan)
    at = axes.pass_of(rows)[told], np.searchsorted(levels, rows.numbers["power_dbm"])[told]
    np.fmax.at(found, at, given[told])
    reads = point.reads
    if "t_s" in reads.numbers:
        level = np.searchsorted(levels, reads.numbers["power_dbm"])
        most = found[axes.pass_of(reads), level]
        late = np.flatnonzero(reads.numbers["t_s"] > most)
        faults.add_rows(
            reads.source,
            "t_s",
            reads.lines[late],
            lambda i: figure(reads.numbers["t_s"][late[i]]),
            lambda i: f"at most {figure(most[late[i]])} s, or correct dwell_s in {rows.source}",
            wrong=lambda i: (
                f"{figure(reads.numbers['t_s'][late[i]])} s is later than the reader listened"
            ),
        )
    return found if len(told) else None


def _level_of(rows: Rows, levels: Floats, faults: FaultList) -> Ints:
    """The level index of each row; −1, and a fault, where the power is none of the levels."""

    def allowed(row: int) -> str:
        nearest = levels[np.abs(levels - power[row]).argmin()]
        away = figure(round(abs(nearest - power[row]), 6))
        return f"{listed} (nearest: {figure(nearest)} dBm, {away} dB away), or add the level to it"

    power = rows.numbers["power_dbm"]
    if not len(levels):
        return np.full(len(power), -1)
    index = np.minimum(np.searchsorted(levels, power), len(levels) - 1)
    off = np.flatnonzero(levels[index] != power)
    listed = f"one of levels_dbm in site.json, {some([figure(level) for level in levels])}"
    faults.add_rows(
        rows.source,
        "power_mw" if rows.in_mw else "power_dbm",
        rows.lines[off],
        lambda i: figure(power[off[i]]) + " dBm" * rows.in_mw,
        lambda i: allowed(off[i]),
        wrong=lambda i: f"{figure(power[off[i]])} dBm is no level of the read point",
    )
    index[off] = -1
    return index
