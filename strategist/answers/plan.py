"""What to measure next at a read point that is surveyed in part, and when to stop."""

from __future__ import annotations

import numpy as np

from strategist.answers.contenders import CONFIDENCE, Contenders, contenders_of
from strategist.answers.run_sheet import (
    Contender,
    Effort,
    LimitsKept,
    Presentation,
    Regret,
    Stage,
    SurveyPlan,
    first_levels,
    rows_of,
    total_minutes,
)
from strategist.answers.solution import Options
from strategist.optimise.clock import Clock
from strategist.optimise.next_pairs import Cost, pairs_to_measure, settled_by
from strategist.radio.lawful import choosable_levels
from strategist.survey.policy import Limits
from strategist.survey.records import ReadPoint, Survey

__all__ = ["plan_survey"]

SETTLED = (0.5, 0.75)  # of the doubt about each contender that a batch takes away
_COVER_S = 10.0  # for the batch: one that is not proven cheapest serves, too
_LEAST = 1e-6  # regret that is none


def plan_survey(
    read_point: ReadPoint,
    options: Options | None = None,
    *,
    within: float | None = None,
    effort: Effort | None = None,
) -> SurveyPlan:
    """What to measure next at a read point whose survey tells what was tried (tried.csv).

    Passes on the roster without a level tried come first, at few levels. `within` is the loss over
    the passes surveyed that is too little to measure for (None: one missed tag, or 5 % of the
    loss). Raises InputError where no level is lawful.
    """
    options, effort = options or Options(), effort or Effort()
    survey, policy = read_point.survey, read_point.policy
    few = policy.loss.missed if within is None else within
    touched = survey.tried.any(axis=1)
    if not touched.all():
        at = first_levels(survey.levels_dbm, choosable_levels(survey, policy))
        batch = {int(p): tuple(map(int, np.flatnonzero(at))) for p in np.flatnonzero(~touched)}
        rows = rows_of(survey.pass_ids, survey.levels_dbm, batch, effort)
        return _plan(survey, "first", few, rows, None)
    contenders = contenders_of(read_point, options)
    if contenders is None:
        return _plan(survey, "open", few, (), None)
    if within is None:
        few = policy.loss.little(float(contenders.loss[contenders.hand].sum(axis=1).mean()))
    if _enough(contenders, few):
        return _plan(survey, "enough", few, (), contenders)
    batch, settles = _batch(contenders, few, Cost(effort.minutes_a_pass, effort.minutes_a_level))
    rows = rows_of(survey.pass_ids, survey.levels_dbm, batch, effort, settles)
    return _plan(survey, "next", few, rows, contenders)


def _enough(contenders: Contenders, few: float) -> bool:
    """Whether no measurement can change the choice by more than a few, nor what is said of the
    limits; where no strategy keeps them, losses decide nothing."""
    if contenders.possible.of.tried.all() or contenders.limits == "exceeded":
        return True
    return contenders.limits == "kept" and contenders.high <= few


def _batch(
    contenders: Contenders, few: float, cost: Cost
) -> tuple[dict[int, tuple[int, ...]], dict[int, float]]:
    """Pass → levels to measure, and the share of all doubt that each pass settles."""
    share = float(np.clip(1 - (few / max(contenders.high, _LEAST)) ** 2, *SETTLED))
    doubt, told = contenders.doubt(contenders.others(few / 2))
    pairs = pairs_to_measure(doubt, told, cost, share, Clock(_COVER_S))
    settled = settled_by(doubt, told, pairs).sum(axis=0) / (doubt.sum() or 1.0)
    if not pairs.any():  # no single look tells anything: all that is left of the pass in most doubt
        left = ~contenders.possible.of.tried
        most = np.where(left.any(axis=1), doubt.sum(axis=0), -1.0).argmax()
        pairs[most] = left[most]
    presented = np.flatnonzero(pairs.any(axis=1)).tolist()
    batch = {p: tuple(map(int, np.flatnonzero(pairs[p]))) for p in presented}
    return batch, {p: float(settled[p]) for p in presented}


def _plan(
    survey: Survey,
    stage: Stage,
    within: float,
    rows: tuple[Presentation, ...],
    contenders: Contenders | None,
) -> SurveyPlan:
    regret = hand = limits = None
    others: tuple[Contender, ...] = ()
    if contenders is not None:
        found = contenders.regret
        draws = contenders.draws
        sure = 1.0 if survey.tried.all() else CONFIDENCE
        mean, high = round(float(found.mean()), 6), round(contenders.high, 6)
        regret = Regret(mean, high, sure, draws)
        hand = contenders.strategies[contenders.hand]
        if contenders.policy.limits != Limits():
            kept = int(contenders.keeps[contenders.hand].sum())
            limits = LimitsKept(contenders.limits, kept, contenders.beyond, draws)
        counted = [
            Contender(contenders.strategies[one], contenders.best.count(one))
            for one in contenders.others()
        ]
        others = tuple(sorted(counted, key=lambda one: -one.draws))
    return SurveyPlan(
        survey.read_point,
        stage,
        int(survey.tried.sum()),
        survey.tried.size,
        within,
        regret,
        hand,
        limits,
        others,
        total_minutes(rows),
        rows,
    )
