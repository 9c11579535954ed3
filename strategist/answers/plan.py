"""What to measure next at a read point that is surveyed in part, and when to stop."""

from __future__ import annotations

import numpy as np

from strategist.answers.contenders import Contenders, contenders_of
from strategist.answers.run_sheet import (
    Contender,
    Effort,
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
from strategist.optimise.next_pairs import Cost, pairs_to_measure
from strategist.radio.lawful import choosable_levels
from strategist.survey.records import ReadPoint, Survey

__all__ = ["plan_survey"]

SETTLED = 0.5  # of the doubt about each contender that a batch takes away, at least
_COVER_S = 10.0  # for the batch: one that is not proven cheapest serves, too
_LEAST = 1e-6  # doubt of a pass where the draws differ but its loss does not


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
    if contenders.regret.max() <= few:
        return _plan(survey, "enough", few, (), contenders)
    batch, settles = _batch(contenders, Cost(effort.minutes_a_pass, effort.minutes_a_level))
    rows = rows_of(survey.pass_ids, survey.levels_dbm, batch, effort, settles)
    return _plan(survey, "next", few, rows, contenders)


def _batch(
    contenders: Contenders, cost: Cost
) -> tuple[dict[int, tuple[int, ...]], dict[int, float]]:
    """Pass → levels to measure, and the share of all doubt that each pass settles."""
    needs = [contenders.needs(other) for other in contenders.others]
    doubt = np.zeros((len(needs), len(contenders.survey.pass_ids)))
    for row, (other, of) in enumerate(zip(contenders.others, needs, strict=True)):
        doubt[row, list(of)] = contenders.doubt(other)[list(of)] + _LEAST
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


def _plan(
    survey: Survey,
    stage: Stage,
    within: float,
    rows: tuple[Presentation, ...],
    contenders: Contenders | None,
) -> SurveyPlan:
    regret = hand = None
    others: tuple[Contender, ...] = ()
    if contenders is not None:
        found = contenders.regret
        draws = contenders.draws
        sure = 1.0 if survey.tried.all() else draws / (draws + 1)
        mean, high = round(float(found.mean()), 6), round(float(found.max()), 6)
        regret = Regret(mean, high, sure, draws)
        hand = contenders.strategies[contenders.hand]
        counted = [
            Contender(contenders.strategies[one], contenders.best.count(one))
            for one in contenders.others
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
        others,
        total_minutes(rows),
        rows,
    )
