"""Read points that hear each other's tags, and how their strategies silence them.

A *hearing* is one stray tag in one pass that was read at any surveyed level. A strategy silences it
or reports it. A means (power and ladder, cutoff, masks) *alone* silences it when the strategy
without this means, the others as they are, would report it: without power means at the highest
surveyed level. What no single means decides is silenced by *several* at once.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass
from typing import Any

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Flat, told
from strategist.survey.records import ReadPoint, Survey
from strategist.trust.evaluate import evaluate

_Heard = set[tuple[int, int]]  # (pass, tag), as indices of a survey


@dataclass(frozen=True)
class Hearings(Declared):
    """How many hearings there were and what became of them; a ladder that stops otherwise may
    count one under two means."""

    heard: int = 0
    reported: int = 0
    by_power: int = 0
    by_cutoff: int = 0
    by_masks: int = 0
    by_several: int = 0

    @told(after="by_several")
    def silenced(self) -> int:
        return self.heard - self.reported


@dataclass(frozen=True)
class CrossRead(Declared):
    """Tags wanted at one read point of a case and heard as stray at another."""

    case: str
    wanted_at: str
    heard_at: str
    tags: int
    hearings: Flat[Hearings]


def hearings(point: ReadPoint, strategy: Strategy) -> dict[str, Hearings]:
    """The hearings at a completely surveyed read point by the EPC of the stray tag."""
    survey = point.survey
    heard = _heard(survey)
    top = float(survey.levels_dbm[-1])
    reported = _reported(point, strategy)
    silenced = heard - reported
    without = {
        "by_power": strategy.without("power", "ladder", top_dbm=top),
        "by_cutoff": strategy.without("cutoff", top_dbm=top),
        "by_masks": strategy.without("masks", top_dbm=top),
    }
    through = {
        name: silenced & _reported(point, other) if other != strategy else set()
        for name, other in without.items()
    }
    through["by_several"] = silenced - set().union(*through.values())
    through |= {"heard": heard, "reported": reported}
    counts = {name: Counter(tag for _, tag in of) for name, of in through.items()}
    return {
        survey.tags[tag].epc: Hearings(**{name: count[tag] for name, count in counts.items()})
        for tag in sorted(counts["heard"])
    }


def tags_of(point: ReadPoint, strategy: Strategy) -> dict[str, Any]:
    """`wanted` (EPCs) and `heard` (EPC to the six counts of `Hearings`) of a completely surveyed
    read point, as JSON values."""
    survey = point.survey
    wanted = np.unique(survey.roster_tag[survey.roster_wanted])
    return {
        "wanted": [survey.tags[tag].epc for tag in wanted.tolist()],
        "heard": {epc: astuple(one) for epc, one in hearings(point, strategy).items()},
    }


def _heard(survey: Survey) -> _Heard:
    tags = len(survey.tags)
    stray = ~survey.roster_wanted
    pairs = (survey.roster_pass * tags + survey.roster_tag)[stray]
    read = np.intersect1d(pairs, survey.read_pass * tags + survey.read_tag)
    return {(pair // tags, pair % tags) for pair in read.tolist()}


def _reported(point: ReadPoint, strategy: Strategy) -> _Heard:
    outcome = evaluate(point.survey, point.policy, strategy)
    return {(p, tag) for p, of_pass in enumerate(outcome.by_pass) for tag in of_pass.stray}


def cross_reads_between(
    tag_lines: Iterable[dict[str, Any]], index: sqlite3.Connection
) -> Iterator[CrossRead]:
    """The pairs, those with the most hearings of each case first.

    A line holds `case`, `read_point` and what `tags_of` gives, each read point once. `index` is
    where they are joined, so that memory does not grow with their number.
    """
    index.executescript(
        "CREATE TABLE wanted (case_ TEXT, epc TEXT, point TEXT, PRIMARY KEY (case_, epc, point))"
        " WITHOUT ROWID;"
        "CREATE TABLE heard (case_ TEXT, epc TEXT, point TEXT, a INT, b INT, c INT, d INT, e INT,"
        " f INT);"
    )
    for line in tag_lines:
        case, point = line["case"], line["read_point"]
        index.executemany(
            "INSERT INTO wanted VALUES (?, ?, ?)", ((case, epc, point) for epc in line["wanted"])
        )
        index.executemany(
            "INSERT INTO heard VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            ((case, epc, point, *counts) for epc, counts in line["heard"].items()),
        )
    rows = index.execute(
        "SELECT case_, w.point, h.point, count(*), sum(a), sum(b), sum(c), sum(d), sum(e), sum(f)"
        " FROM heard h JOIN wanted w USING (case_, epc) WHERE w.point <> h.point"
        " GROUP BY case_, w.point, h.point ORDER BY case_, 5 DESC, w.point, h.point"
    )
    for case, wanted_at, heard_at, tags, *counts in rows:
        yield CrossRead(case, wanted_at, heard_at, tags, Hearings(*counts))


@dataclass(frozen=True)
class CrossReads(Declared):
    """The pairs of read points that hear each other, as in cross_reads.json."""

    pairs: tuple[CrossRead, ...]


def cross_reads_of(tag_lines: Iterable[dict[str, Any]]) -> CrossReads:
    """The pairs of `cross_reads_between`, all at once."""
    index = sqlite3.connect("")
    try:
        return CrossReads(tuple(cross_reads_between(tag_lines, index)))
    finally:
        index.close()
