"""Which read belongs to which pass, at which level: by a column, by time windows, or by pauses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.errors import Fault
from strategist.intake.mapping import MAPPING_FILE, ImportMapping, PassesBy
from strategist.intake.read import Table
from strategist.intake.runs import Runs
from strategist.intake.times import NEVER, SECOND
from strategist.survey.faults import FaultList
from strategist.survey.order import natural, some
from strategist.survey.records import Bools, Floats, Ints
from strategist.survey.texts import Texts

_OVERLAPS_NAMED = 5


@dataclass(frozen=True, eq=False)
class Presented:
    """For each row of the log: its pass, as an index of `passes` (−1: none), the row of the run
    sheet (−1: none), and the seconds since that row began (NaN: not known)."""

    by: PassesBy
    passes: tuple[str, ...]
    of_row: Ints
    run_of_row: Ints
    since_s: Floats
    assumed: tuple[str, ...]


def way_of(
    log: Table, runs: Runs | None, times: Ints | None, mapping: ImportMapping, faults: FaultList
) -> PassesBy | None:
    """How passes are told: as the mapping says, else by column, windows, or pauses."""
    windows = runs is not None and bool((runs.start != NEVER).any()) and "time" in log.times
    if mapping.passes_by is not None:
        lacking = {
            "column": None if "pass" in log.texts else "the log has no pass column",
            "windows": (
                None if windows else "the log has no times, or the run sheet no column of starts"
            ),
            "pauses": None if "time" in log.times else "the log has no times",
        }[mapping.passes_by]
        if lacking is not None:
            wrong, todo = (
                f"is {mapping.passes_by}, and {lacking}",
                "Add it, or tell passes otherwise.",
            )
            faults.add(Fault(MAPPING_FILE, None, "passes_by", mapping.passes_by, todo, wrong=wrong))
            return None
        return mapping.passes_by
    by_level = windows and runs is not None and bool(np.isfinite(runs.level).all())
    if "pass" in log.texts and ("power" in log.numbers or not by_level):
        return "column"
    if windows:
        return "windows"
    if mapping.pause_s is not None and "time" in log.times:
        return "pauses"
    hint = "" if times is None or runs is None else pause_hint(times, runs)
    todo = (
        "Give a pass column in the log; or times in the log, and a run sheet with start and end; "
        "or how long the pauses between passes are (pause_s in the mapping file)"
        f"{hint}."
    )
    wrong = "nothing tells which read is of which pass"
    faults.add(Fault(log.source, None, "pass", "", todo, wrong=wrong))
    return None


def by_column(log: Table, runs: Runs | None, points: Texts) -> Presented:
    """By the log's own pass column; a row of the run sheet of the same pass where it is the one."""
    column = log.texts["pass"]
    order = sorted((name for name in column.values if name), key=natural)
    place = {name: i for i, name in enumerate(order)}
    codes = np.array([place.get(name, -1) for name in column.values], np.int64)[column.codes]
    run = np.full(len(log), -1)
    if runs is not None:
        once: dict[tuple[str, str], int] = {}
        for row, key in enumerate(zip(runs.points, runs.passes, strict=True)):
            once[key] = -1 if key in once else row
        pairs = points.codes * max(len(column.values), 1) + column.codes
        known, back = np.unique(pairs, return_inverse=True)
        found = [
            once.get((points.values[pair // len(column.values)],
                      column.values[pair % len(column.values)]), -1)
            for pair in known
        ]  # fmt: skip
        run = np.array(found, np.int64)[back]
    return Presented("column", tuple(order), codes, run, np.full(len(log), np.nan), ())


def by_windows(times: Ints, runs: Runs, points: Texts, faults: FaultList) -> Presented:
    """By the run sheet's times; from the start up to, not including, the end.

    Reads that lie in two windows at once belong nowhere that can be known: they are faults.
    """
    run = np.full(len(times), -1)
    anywhere = points.values == ("",)  # the log names no read point: one read, one row
    for name in [""] if anywhere else dict.fromkeys(runs.points):
        rows = np.flatnonzero([anywhere or point == name for point in runs.points])
        mine = np.array([value == name for value in points.values], bool)[points.codes]
        mine &= times != NEVER
        rows = rows[np.argsort(runs.start[rows], kind="stable")]
        start, end = runs.start[rows], runs.end[rows]
        at = np.searchsorted(start, times[mine], side="right") - 1
        inside = (at >= 0) & (times[mine] < end[np.maximum(at, 0)])
        _refuse_overlaps(times[mine], runs, rows, faults)
        found = np.where(inside, rows[np.maximum(at, 0)], -1)
        run[np.flatnonzero(mine)] = found
    return _of_runs("windows", run, times, runs)


def _refuse_overlaps(times: Ints, runs: Runs, rows: Ints, faults: FaultList) -> None:
    """Windows of one read point that overlap where there are reads."""
    start, end = runs.start[rows], runs.end[rows]
    latest = np.maximum.accumulate(end)[:-1]
    sorted_times = np.sort(times)
    named = 0
    for i in np.flatnonzero(start[1:] < latest) + 1:
        until = min(int(latest[i - 1]), int(end[i]))
        low, high = np.searchsorted(sorted_times, [start[i], until])
        if high > low:
            before = rows[int(np.argmax(end[:i] == latest[i - 1]))]
            count = high - low
            reads = "1 read is" if count == 1 else f"{count:,} reads are"
            other = f"that of line {runs.lines[before]}"
            found = f"the pass begins before {other} ends, and {reads} in both"
            line = int(runs.lines[rows[i]])
            faults.add(
                Fault(runs.source, line, "start", "", "passes that do not overlap", wrong=found)
            )
            named += 1
        if named == _OVERLAPS_NAMED:
            return


def by_pauses(times: Ints, pause_s: float, runs: Runs | None, faults: FaultList) -> Presented:
    """By pauses of at least so long: the k-th group of reads is the k-th row of the run sheet."""
    group, pauses = _groups(times, pause_s)
    count = int(group.max(initial=-1)) + 1
    if runs is None:
        names = tuple(f"p{i:0{max(4, len(str(count)))}d}" for i in range(1, count + 1))
        text = f"{count} groups of reads with pauses of {pause_s:g} s between are passes"
        if count == 1:
            text = f"all reads are one pass, since no pause between them lasts {pause_s:g} s"
        none = np.full(len(times), np.nan)
        return Presented("pauses", names, group, np.full(len(times), -1), none, (text,))
    if count != len(runs):
        _ask_for_pause(count, pauses, runs, pause_s, faults)
        return Presented("pauses", (), group, group, np.full(len(times), np.nan), ())
    return _of_runs("pauses", group, None, runs)


def _groups(times: Ints, pause_s: float) -> tuple[Ints, Floats]:
    """The group of each read, and all pauses between reads in seconds, longest first."""
    known = np.flatnonzero(times != NEVER)
    order = known[np.argsort(times[known], kind="stable")]
    pauses = np.diff(times[order]) / SECOND
    group = np.full(len(times), -1)
    group[order] = np.concatenate([[0], np.cumsum(pauses >= pause_s)]) if len(order) else []
    return group, np.sort(pauses)[::-1]


def _ask_for_pause(
    count: int, pauses: Floats, runs: Runs, pause_s: float, faults: FaultList
) -> None:
    groups = "1 group" if count == 1 else f"{count:,} groups"
    found = (
        f"has {len(runs):,} rows, and pauses of {pause_s:g} s or more make {groups} of the reads"
    )
    todo = (
        "Give another pause (pause_s in the mapping file) so that there are as many"
        f"{_hint(pauses, len(runs))}."
    )
    faults.add(Fault(runs.source, None, None, "", todo, wrong=found))


def _hint(pauses: Floats, groups: int) -> str:
    """Which pauses part the reads into so many groups; `pauses` are those there are, longest
    first."""
    need = groups - 1
    if not 0 < need < len(pauses) or pauses[need - 1] <= pauses[need]:
        return ""
    return (
        f" (more than {pauses[need]:.3g} and up to {pauses[need - 1]:.3g} s make {groups} groups "
        "of the reads, which is right if no row went without reads)"
    )


def pause_hint(times: Ints, runs: Runs) -> str:
    """Which pauses give as many groups of reads as the run sheet has rows."""
    return _hint(_groups(times, np.inf)[1], len(runs))


def _of_runs(by: PassesBy, run: Ints, times: Ints | None, runs: Runs) -> Presented:
    """By rows of the run sheet; the seconds since a row began mean something where it is one
    level."""
    names = tuple(sorted(set(runs.passes), key=natural))
    place = {name: i for i, name in enumerate(names)}
    of_run = np.array([place[name] for name in runs.passes], np.int64)
    inside = run >= 0
    passes = np.where(inside, of_run[np.maximum(run, 0)], -1)
    since = np.full(len(run), np.nan)
    if times is not None:
        timed = inside & np.isfinite(np.append(runs.level, np.nan)[run])
        since[timed] = (times[timed] - runs.start[run[timed]]) / SECOND
    return Presented(by, names, passes, run, since, runs.assumed)


def levels_of(
    log: Table, runs: Runs | None, found: Presented, mapping: ImportMapping, faults: FaultList
) -> tuple[Floats, Bools]:
    """The level of each row, by the log, the run sheet or the ROSpec; and where the log's own and
    the run sheet's differ."""
    none = np.full(len(log), np.nan)
    of_run = none if runs is None else np.append(runs.level, np.nan)[found.run_of_row]
    own = log.numbers.get("power", none)
    by_rospec = {**_rospecs_of(runs), **mapping.levels_by_rospec}
    if by_rospec and "rospec" in log.texts:
        column = log.texts["rospec"]
        by_spec = np.array([by_rospec.get(v, np.nan) for v in column.values])
        own = np.where(np.isnan(own), by_spec[column.codes], own)
    level = np.where(np.isnan(own), of_run, own)
    inside = found.of_row >= 0
    if inside.any() and np.isnan(level[inside]).all():
        specs = log.texts["rospec"].values if "rospec" in log.texts else ()
        allowed = "a column of levels in the log, or on the run sheet"
        if specs:
            allowed += f', or "levels_by_rospec": {{"{specs[0]}": 20}} in the mapping file'
            allowed += f" (ROSpecs {some(list(specs))})"
        if runs is not None and np.isfinite(runs.level).any():
            allowed += (
                "; the run sheet has several levels for a pass, and no times to tell them apart"
            )
        wrong = "nothing tells at which level the reads were"
        faults.add(Fault(log.source, None, "power", "", allowed, wrong=wrong))
    differs = np.isfinite(own) & np.isfinite(of_run) & (np.abs(own - of_run) > 0.051) & inside
    return level, differs


def _rospecs_of(runs: Runs | None) -> dict[str, float]:
    """The level of each ROSpec that the run sheet gives one level."""
    found: dict[str, set[float]] = {}
    if runs is not None:
        for name, level in zip(runs.rospecs, runs.level, strict=True):
            if name and np.isfinite(level):
                found.setdefault(name, set()).add(float(level))
    return {name: levels.pop() for name, levels in found.items() if len(levels) == 1}


def snapped(levels: Floats, known: Floats) -> Floats:
    """Levels moved to the known one within 0.05 dB, as milliwatts come."""
    finite = np.isfinite(levels)
    if not len(known) or not finite.any():
        return levels
    values, back = np.unique(levels[finite], return_inverse=True)
    nearest = known[np.abs(values[:, None] - known).argmin(axis=1)]
    meant = np.where(np.abs(values - nearest) <= 0.0501, nearest, values)
    result = levels.copy()
    result[finite] = meant[back]
    return result
