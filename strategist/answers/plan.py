"""What to measure at a read point: before a survey, and after a part of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from strategist.answers.rivals import DRAWS, Rivals, rivals_of
from strategist.answers.solution import Options
from strategist.optimise.clock import Clock
from strategist.optimise.next_pairs import Cost, pairs_to_measure
from strategist.optimise.strategy import Strategy
from strategist.radio.lawful import choosable_levels
from strategist.survey.answer import Declared
from strategist.survey.records import Bools, Floats, ReadPoint, Survey

__all__ = ["Presentation", "Regret", "SurveyPlan", "first_levels", "plan_survey"]

FIRST_DB = 7.0  # between levels of the first look: RSSI tells how far above turn-on a read was
SETTLED = 0.5  # of the doubt about each rival that a batch takes away, at least
CONFIDENCE = DRAWS / (DRAWS + 1)
_COVER_S = 10.0  # for the batch: one that is not proven cheapest serves, too
PASS_MIN, LEVEL_S = 3.0, 5.0  # to present a load, and at a level (our own guess, no source)


@dataclass(frozen=True)
class Presentation(Declared):
    """A row of the run sheet: present this pass at these levels. `settles` is the share of what is
    in doubt between the strategies that could still be best, 0 where nothing is known of the
    pass."""

    pass_id: str
    levels_dbm: tuple[float, ...]
    minutes: float
    settles: float


@dataclass(frozen=True)
class Rival(Declared):
    """A strategy that could still be best: in how many draws it is."""

    strategy: Strategy
    draws: int


@dataclass(frozen=True)
class Regret(Declared):
    """How much more than the best strategy the one in hand loses over the passes surveyed, in the
    mean of `draws` surveys that may be, and at most at `confidence`."""

    mean: float
    high: float
    confidence: float
    draws: int


@dataclass(frozen=True)
class SurveyPlan(Declared):
    """What to measure next, in minutes, and whether that is worth it.

    `stage` is "first" while passes have no level tried, "next" while a measurement can change the
    choice by more than `within` (loss over the passes surveyed), "enough" when the strategy in hand
    is within that of the best, and "open" where time ended before that was known. `measured` of
    `pairs` of pass and level are tried.
    """

    read_point: str
    stage: Literal["first", "next", "enough", "open"]
    measured: int
    pairs: int
    within: float
    regret: Annotated[Regret | None, Field(description="null before there is a choice")]
    strategy: Annotated[Strategy | None, Field(description="in hand; null before there is one")]
    rivals: tuple[Rival, ...]
    minutes: float
    run_sheet: tuple[Presentation, ...]


def first_levels(levels_dbm: Floats, may: Bools) -> Bools:
    """The levels of the first look: evenly over those that may be chosen, both ends among them, at
    most `FIRST_DB` apart where the levels allow."""
    allowed = np.flatnonzero(may)
    power = levels_dbm[allowed]
    steps = max(1, math.ceil(round((power[-1] - power[0]) / FIRST_DB, 6)))
    wanted = np.linspace(power[0], power[-1], steps + 1)
    taken = np.abs(power[None, :] - wanted[:, None]).argmin(axis=1)
    found = np.zeros(len(levels_dbm), bool)
    found[allowed[taken]] = True
    return found


def plan_survey(
    read_point: ReadPoint,
    options: Options | None = None,
    *,
    within: float | None = None,
    minutes_a_pass: float = PASS_MIN,
    seconds_a_level: float = LEVEL_S,
) -> SurveyPlan:
    """What to measure next at a read point whose survey tells what was tried (tried.csv).

    Passes on the roster without a level tried come first, at few levels. `within` is the loss over
    the passes surveyed that is too little to measure for (None: one missed tag, or 5 % of the
    loss). Raises InputError where no level is lawful.
    """
    options = options or Options()
    cost = Cost(minutes_a_pass, seconds_a_level / 60)
    survey, policy = read_point.survey, read_point.policy
    few = policy.loss.missed if within is None else within
    touched = survey.tried.any(axis=1)
    if not touched.all():
        at = first_levels(survey.levels_dbm, choosable_levels(survey, policy))
        batch = {int(p): tuple(map(int, np.flatnonzero(at))) for p in np.flatnonzero(~touched)}
        return _plan(survey, "first", few, _rows(survey, batch, cost, {}), None)
    rivals = rivals_of(read_point, options)
    if rivals is None:
        return _plan(survey, "open", few, (), None)
    if within is None:
        few = policy.loss.little(float(rivals.loss[rivals.hand].sum(axis=1).mean()))
    if rivals.regret.max() <= few:
        return _plan(survey, "enough", few, (), rivals)
    batch, settles = _batch(rivals, cost)
    return _plan(survey, "next", few, _rows(survey, batch, cost, settles), rivals)


def _batch(rivals: Rivals, cost: Cost) -> tuple[dict[int, tuple[int, ...]], dict[int, float]]:
    """Pass → levels to measure, and the share of all doubt that each pass settles."""
    needs = [rivals.needs(other) for other in rivals.others]
    doubt = np.zeros((len(needs), len(rivals.survey.pass_ids)))
    for row, (other, of) in enumerate(zip(rivals.others, needs, strict=True)):
        doubt[row, list(of)] = rivals.doubt(other)[list(of)]
    batch = pairs_to_measure(doubt, needs, cost, SETTLED, Clock(_COVER_S))
    total = doubt.sum() or 1.0
    settled = {
        p: float(
            sum(doubt[row, p] for row, of in enumerate(needs) if set(of.get(p, ())) <= set(levels))
            / total
        )
        for p, levels in batch.items()
    }
    return batch, settled


def _rows(
    survey: Survey,
    batch: dict[int, tuple[int, ...]],
    cost: Cost,
    settles: dict[int, float],
) -> tuple[Presentation, ...]:
    return tuple(
        Presentation(
            survey.pass_ids[p],
            tuple(float(survey.levels_dbm[level]) for level in levels),
            round(cost.a_pass + cost.a_level * len(levels), 2),
            round(settles.get(p, 0.0), 4),
        )
        for p, levels in sorted(batch.items())
    )


def _plan(
    survey: Survey,
    stage: Literal["first", "next", "enough", "open"],
    within: float,
    rows: tuple[Presentation, ...],
    rivals: Rivals | None,
) -> SurveyPlan:
    regret = hand = None
    others: tuple[Rival, ...] = ()
    if rivals is not None:
        found = rivals.regret
        regret = Regret(
            round(float(found.mean()), 6), round(float(found.max()), 6), CONFIDENCE, rivals.draws
        )
        hand = rivals.strategies[rivals.hand]
        counted = [Rival(rivals.strategies[one], rivals.best.count(one)) for one in rivals.others]
        others = tuple(sorted(counted, key=lambda one: -one.draws))
    return SurveyPlan(
        survey.read_point,
        stage,
        int(survey.tried.sum()),
        survey.tried.size,
        within,
        regret,
        hand,
        others,
        round(sum(row.minutes for row in rows), 2),
        rows,
    )
