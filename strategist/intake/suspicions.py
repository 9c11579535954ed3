"""What is suspicious in raw files that could be read: each with counts and a remedy.

What a survey alone tells (`survey.soundness`) comes first; times, antennas and TIDs are known here
only.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from strategist.intake.case_files import Reads
from strategist.intake.clock import Offset
from strategist.intake.imported import Suspicion, Tally
from strategist.intake.mapping import ImportMapping
from strategist.intake.runs import Runs
from strategist.intake.times import NEVER
from strategist.survey.case import Case
from strategist.survey.order import figure, natural, some
from strategist.survey.records import Bools, Ints
from strategist.survey.soundness import soundness
from strategist.survey.texts import Texts

_OF_SURVEY = {
    *("passes_shifted", "levels_in_mw", "rssi_scale", "rssi_falls", "tag_under_two_epcs"),
}
_OUTSIDE_MIN = 0.02  # share of the rows outside every pass that is worth a word
_SILENT_READS, _SILENT_SHARE, _SILENT_PASSES = 20, 0.25, 5  # of an antenna that fell silent


@dataclass(frozen=True, eq=False)
class Evidence:
    """What suspicions are drawn from. Of the reads of the case: `times` (NEVER: none), `tids`, and
    where the log's level and the run sheet's differ."""

    case: Case
    reads: Reads
    times: Ints | None
    tids: Texts | None
    differs: Bools
    offset: Offset | None
    runs: Runs | None
    tally: Tally
    mapping: ImportMapping
    passes_by: str


def suspicions(of: Evidence) -> tuple[Suspicion, ...]:
    """All that is suspicious, what makes an answer doubtful first."""
    listed = [
        *_of_survey(of.case),
        *_clocks(of),
        *_levels(of),
        *_at_once(of),
        *_tids(of),
        *_antennas(of),
        *_outside(of),
        *_repeated(of),
        *_silent(of),
    ]
    return tuple(sorted(listed, key=lambda one: one.severity != "weak"))


def _of_survey(case: Case) -> Iterator[Suspicion]:
    for point in case:
        for severity, kind, text, advice in soundness(point.survey):
            if kind in _OF_SURVEY:
                yield Suspicion(point.name, kind, text, advice, severity)


def _clocks(of: Evidence) -> Iterator[Suspicion]:
    if of.offset is not None:
        advice = (
            'Compare the two clocks; if they differ so, say "clock_offset_s": '
            f"{figure(of.mapping.clock_offset_s + of.offset.seconds)} in the mapping file."
        )
        yield Suspicion(None, "clocks_differ", of.offset.text(), advice, "weak")


def _levels(of: Evidence) -> Iterator[Suspicion]:
    count = int(of.differs.sum())
    if count:
        text = (
            f"In {count:,} of {len(of.differs):,} reads the log's level is not the one on the run "
            "sheet; the log's is taken."
        )
        advice = "Check the unit of both columns, the run sheet's rows and the clocks."
        yield Suspicion(None, "levels_differ", text, advice, "weak")


def _at_once(of: Evidence) -> Iterator[Suspicion]:
    """Tags whose reads in one pass lie between those in another: one load cannot be two."""
    if of.times is None or of.passes_by != "column":
        return
    reads, known = of.reads, of.times != NEVER
    levels = np.unique(reads.level, return_inverse=True)[1]
    sizes = (len(reads.passes.values), int(levels.max(initial=0)) + 1)
    tag = reads.point.codes * len(reads.epc.values) + reads.epc.codes
    key = ((tag * sizes[0] + reads.passes.codes) * sizes[1] + levels)[known]
    order = np.lexsort((of.times[known], key))
    key, times = key[order], of.times[known][order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    last = np.append(first, len(key))[1:] - 1
    group, begin, end = key[first] // sizes[1], times[first], times[last]
    order = np.lexsort((begin, group // sizes[0]))
    group, begin, end = group[order], begin[order], end[order]
    same = np.diff(group // sizes[0]) == 0
    clash = np.flatnonzero(same & (np.diff(group) != 0) & (begin[1:] < end[:-1]))
    if len(clash):
        one, two = (reads.passes.values[group[clash[0] + i] % sizes[0]] for i in (0, 1))
        tags = len(np.unique(group[clash] // sizes[0]))
        text = (
            f"{tags} tags were read in two passes at once, {len(clash):,} times, as in {one} and "
            f"{two}."
        )
        advice = "Check the log's pass column: was it advanced late, or two logs mixed?"
        yield Suspicion(None, "passes_at_once", text, advice, "weak")


def _tids(of: Evidence) -> Iterator[Suspicion]:
    """One TID under several EPCs."""
    if of.tids is None:
        return
    pairs = np.unique(np.column_stack([of.tids.codes, of.reads.epc.codes]), axis=0)
    tids, counts = np.unique(pairs[:, 0], return_counts=True)
    several = [int(t) for t, n in zip(tids, counts, strict=True) if n > 1 and of.tids.values[t]]
    if several:
        epcs = [of.reads.epc.values[e] for t, e in pairs if t == several[0]]
        number = "1 TID was" if len(several) == 1 else f"{len(several)} TIDs were"
        text = f"{number} read under more than one EPC, as {some(sorted(epcs))}."
        advice = "Was a tag written anew between the passes? Give one EPC for each tag."
        yield Suspicion(None, "tid_under_two_epcs", text, advice, "weak")


def _antennas(of: Evidence) -> Iterator[Suspicion]:
    antenna = of.reads.antenna
    if antenna is None:
        return
    for code, point in enumerate(of.reads.point.values):
        mine = (of.reads.point.codes == code) & np.isfinite(antenna)
        seen = sorted({int(one) for one in np.unique(antenna[mine])})
        if not seen:
            continue
        expected = of.mapping.antennas or range(min(1, seen[0]), seen[-1] + 1)
        never = [str(one) for one in expected if one not in seen]
        if never:
            text = (
                f"Antenna {some(never)} never reports; {some([str(one) for one in seen])} "
                f"have {int(mine.sum()):,} reads."
            )
            advice = "Check its cable and that it is on, or name the antennas in the mapping file."
            yield Suspicion(point, "antenna_never_reports", text, advice, "weak")
        yield from _fell_silent(of, point, mine, seen)


def _fell_silent(of: Evidence, point: str, mine: Bools, seen: list[int]) -> Iterator[Suspicion]:
    """Antennas without a read in the last passes, or in the first ones, while others had some."""
    assert of.reads.antenna is not None
    names = of.reads.passes.values
    place = np.empty(len(names), np.int64)
    place[sorted(range(len(names)), key=lambda i: natural(names[i]))] = np.arange(len(names))
    passes = place[of.reads.passes.codes]
    present = np.unique(passes[mine])
    least = max(_SILENT_PASSES, _SILENT_SHARE * len(present))
    ordered = sorted(names, key=natural)
    for one in seen if len(seen) > 1 else ():
        rows = mine & (of.reads.antenna == one)
        if rows.sum() < _SILENT_READS:
            continue
        last, first = int(passes[rows].max()), int(passes[rows].min())
        after, before = int((present > last).sum()), int((present < first).sum())
        if max(after, before) >= least:
            where = f"after {ordered[last]}" if after >= before else f"before {ordered[first]}"
            text = (
                f"Antenna {one} reports in no pass {where}: {max(after, before)} of {len(present)} "
                "passes."
            )
            advice = "Check whether it was unplugged or switched; treat these passes apart if so."
            yield Suspicion(point, "antenna_fell_silent", text, advice, "weak")


def _outside(of: Evidence) -> Iterator[Suspicion]:
    outside, rows = of.tally.outside_passes, of.tally.rows
    if outside >= _OUTSIDE_MIN * rows:
        text = f"{outside:,} of {rows:,} rows lie outside every pass and are not in the case."
        advice = "See whether passes are lacking on the run sheet, or are longer than it says."
        yield Suspicion(None, "reads_outside_passes", text, advice, "weak")


def _repeated(of: Evidence) -> Iterator[Suspicion]:
    """Rows that repeat another to the last figure, with its time: a log that was taken twice."""
    if of.times is None:
        return
    reads = of.reads
    columns = [reads.point.codes, reads.passes.codes, reads.epc.codes, of.times]
    columns += [np.unique(reads.rssi, return_inverse=True)[1]]
    if reads.antenna is not None:
        columns += [np.nan_to_num(reads.antenna, nan=-1).astype(np.int64)]
    order = np.lexsort(columns)
    same = np.ones(max(len(order) - 1, 0), bool)
    for column in columns:
        same &= np.diff(column[order]) == 0
    count = int((same & (of.times[order][1:] != NEVER)).sum())
    if count:
        number = "1 read repeats" if count == 1 else f"{count:,} reads repeat"
        text = f"{number} another with the same time, tag, RSSI and antenna."
        advice = "Was a log given twice, or do parts of it overlap? Peaks stay as they are."
        yield Suspicion(None, "reads_repeated", text, advice, "note")


def _silent(of: Evidence) -> Iterator[Suspicion]:
    """Passes of the run sheet in which nothing was read."""
    if of.runs is None:
        return
    with_reads = {
        (of.reads.point.values[p], of.reads.passes.values[n])
        for p, n in set(zip(of.reads.point.codes.tolist(), of.reads.passes.codes.tolist(),
                            strict=True))
    }  # fmt: skip
    pairs = dict.fromkeys(zip(of.runs.points, of.runs.passes, strict=True))
    silent = [name for point, name in pairs if (point, name) not in with_reads]
    if silent:
        text = f"In {len(silent)} of {len(pairs)} passes on the run sheet nothing was read: "
        advice = "They count as tried and not read; take them off the sheet if the reader was off."
        yield Suspicion(None, "passes_silent", f"{text}{some(silent)}.", advice, "note")
