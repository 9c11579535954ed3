"""What to measure next: the passes and levels that would narrow the answer most."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.radio.lawful import lawful_at, strictest_radio
from strategist.survey.answer import Declared
from strategist.survey.order import figure
from strategist.survey.policy import LEVEL_DBM_MAX, LEVEL_DBM_MIN, Policy
from strategist.survey.records import ReadPoint
from strategist.trust.acceptance import plan_acceptance
from strategist.trust.evaluate import Outcome
from strategist.trust.folds import CrossValidation
from strategist.trust.foreseen import foreseen_of
from strategist.trust.intervals import Rate, clopper_pearson, interval_words, percent
from strategist.trust.rates import rates_of

FINEST_DB = 0.5  # between levels; readers' tables are seldom finer (common practice, no source)
_PASSES_MAX, _FAILURES_MAX = 100_000, 1000  # of a survey that anybody would make


@dataclass(frozen=True)
class NextSurvey(Declared):
    """`passes` more passes like these, and `levels_dbm` to add to the levels; `reasons` in words.

    `passes` is what the rate of missed passes needs: to show the limit of the policy where it has
    one, else to make the interval half as wide, and 0 where no number of passes would help before
    the read point is changed; the first reason says what to do. `half_width` is that of the
    interval now, and `half_width_then` with those passes if the rate stays.
    """

    passes: int
    levels_dbm: tuple[float, ...]
    half_width: float
    half_width_then: float
    reasons: tuple[str, ...]


def next_survey(
    read_point: ReadPoint, strategy: Strategy, outcome: Outcome, cross: CrossValidation | None
) -> NextSurvey:
    """What to measure next at a completely surveyed read point.

    The rate that plans are made from is the held-out one where there is one, since the fitted one
    flatters; and its exact interval, since more passes leave less to the luck of the choice.
    """
    rates = rates_of(outcome) if cross is None else cross.held_out
    missed = rates.missed_by_pass
    part = rates.dependence.part
    rate = clopper_pearson(missed.events, missed.trials, part=part)
    passes, reason = _passes(rate, read_point.policy, part)
    then = _with_more(rate, passes, part)
    levels, reasons = _levels(read_point, strategy, cross)
    return NextSurvey(passes, levels, _half(rate), _half(then), (reason, *reasons))


def _half(rate: Rate) -> float:
    return (rate.high - rate.low) / 2


def _with_more(rate: Rate, passes: int, part: float) -> Rate:
    """The interval if the next passes fail as often, and neighbours are as much alike."""
    trials = rate.trials + passes
    return clopper_pearson(round((rate.rate or 0.0) * trials), trials, part=part)


def _passes(rate: Rate, policy: Policy, part: float) -> tuple[int, str]:
    """How many more passes to survey, and what to do in words."""
    limit, now = policy.limits.missed_rate_max, rate.rate or 0.0
    if limit is None or not 1e-6 <= limit < 1:
        more = max(rate.trials, 1)
        while _half(_with_more(rate, more, part)) > _half(rate) / 2 and more < _PASSES_MAX:
            more += max(1, more // 4)
        return more, (
            f"Survey {more} more passes as loads come, over several days: they would halve the "
            f"exact interval of passes with a miss, which is {interval_words(rate)} now."
        )
    if now >= limit:
        return 0, (
            f"{percent(now)} of passes have a miss, and the limit is {100 * limit:g} %: more "
            "passes cannot show it. Change the read point first (antenna, position, tags, levels), "
            f"then survey {plan_acceptance(limit).passes} passes or more anew."
        )
    needed, failures = rate.trials, math.ceil(now * rate.trials)
    while failures <= _FAILURES_MAX and needed < _PASSES_MAX:
        plan = plan_acceptance(limit, allowed_failures=failures).passes
        if plan <= needed:
            break
        needed, failures = plan, math.ceil(now * plan)
    if failures > _FAILURES_MAX or needed >= _PASSES_MAX:
        return 0, (
            f"{percent(now)} of passes have a miss, too near the limit of {100 * limit:g} % for "
            "any survey to show it. Change the read point so that it misses less, or agree on a "
            "higher limit."
        )
    more = max(0, needed - rate.trials)
    if not more:
        return 0, f"The {rate.trials} passes surveyed show the limit of {100 * limit:g} % by pass."
    most = f"at most {failures} of them have" if failures else "none of them has"
    return more, (
        f"Survey {more} more passes as loads come, over several days, {needed} in all: if {most} "
        f"a miss, they show the limit of {100 * limit:g} % by pass (95 % confidence). Fix the "
        "number beforehand."
    )


def _levels(
    read_point: ReadPoint, strategy: Strategy, cross: CrossValidation | None
) -> tuple[tuple[float, ...], list[str]]:
    """Steps of the answer that were predicted; half-way levels beside steps that were chosen more
    than once (or the answer's own, where none was); and beyond a step at an end."""
    survey = read_point.survey
    levels = survey.levels_dbm[survey.measured.any(axis=0)]
    foreseen = foreseen_of(survey, strategy)
    predicted = () if foreseen is None else foreseen.steps_dbm
    chosen = [strategy] if cross is None else [strategy, *cross.strategies]
    taken = Counter(level for one in chosen for level in one.levels_dbm)
    steps = sorted(level for level, n in taken.items() if n > 1) or list(strategy.levels_dbm)
    halves: set[float] = set(predicted)
    for step in steps:
        at = int(np.argmin(np.abs(levels - step)))
        for other in (at - 1, at + 1):
            if 0 <= other < len(levels) and abs(levels[other] - levels[at]) >= 2 * FINEST_DB:
                halves.add(round(float(levels[other] + levels[at]) / 2, 2))
    reasons = []
    if predicted:
        reasons.append("Survey the steps that were predicted: nobody has measured them.")
    if halves - set(predicted):
        listed = ", ".join(figure(step) for step in steps)
        reasons.append(
            f"Survey the levels midway between the steps chosen most often ({listed} dBm) and "
            "their neighbours: there a finer survey is most likely to change the answer."
        )
    width = float(levels[-1] - levels[-2]) if len(levels) > 1 else 1.0
    if strategy.levels_dbm[-1] == levels[-1]:
        halves.add(round(float(levels[-1]) + width, 2))
        reasons.append(
            "Survey above the highest level, where that is lawful: the top step is at the end."
        )
    if len(levels) > 1 and strategy.levels_dbm[0] == levels[0]:
        halves.add(round(float(levels[0]) - float(levels[1] - levels[0]), 2))
        reasons.append("Survey below the lowest level: the lowest step is at the end.")
    allowed = {level for level in halves if LEVEL_DBM_MIN <= level <= LEVEL_DBM_MAX}
    unlawful = lawful_at(
        np.array(sorted(allowed)), strictest_radio(read_point.policy)
    ).levels_above_dbm
    return tuple(sorted(allowed.difference(unlawful))), reasons
