"""What to measure next: the passes and levels that would narrow the answer most."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.radio.lawful import lawful_at
from strategist.survey.order import figure
from strategist.survey.policy import LEVEL_DBM_MAX, LEVEL_DBM_MIN, Policy
from strategist.survey.records import ReadPoint
from strategist.trust.acceptance import plan_acceptance
from strategist.trust.evaluate import Outcome
from strategist.trust.folds import CrossValidation
from strategist.trust.foreseen import foreseen_of
from strategist.trust.intervals import Rate, clopper_pearson, interval_words, percent
from strategist.trust.rates import rates_of

__all__ = ["NextSurvey", "next_survey"]

FINEST_DB = 0.5  # between levels; readers' tables are seldom finer (common practice, no source)
_PASSES_MAX = 100_000


@dataclass(frozen=True)
class NextSurvey:
    """`passes` more passes like these, and `levels_dbm` to add to the levels; `reasons` in words.

    `passes` is what the rate of missed passes needs: to show the limit of the policy where it has
    one, else to make the interval half as wide. `half_width` is that of the interval now, and
    `half_width_then` with those passes if the rate stays.
    """

    passes: int
    levels_dbm: tuple[float, ...]
    half_width: float
    half_width_then: float
    reasons: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        return {
            "passes": self.passes,
            "levels_dbm": list(self.levels_dbm),
            "half_width": self.half_width,
            "half_width_then": self.half_width_then,
            "reasons": list(self.reasons),
        }


def next_survey(
    read_point: ReadPoint, strategy: Strategy, outcome: Outcome, cross: CrossValidation | None
) -> NextSurvey:
    """What to measure next at a completely surveyed read point.

    The rate that plans are made from is the held-out one where there is one, since the fitted one
    flatters; and its exact interval, since more passes leave less to the luck of the choice.
    """
    rates = rates_of(outcome) if cross is None else cross.held_out_rates
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
    limit = policy.limits.missed_rate_max
    if limit is not None and 1e-6 <= limit < 1 and (rate.rate or 0.0) < limit:
        needed = rate.trials
        while needed < _PASSES_MAX:
            failures = math.ceil((rate.rate or 0.0) * needed)
            plan = plan_acceptance(limit, failures_allowed=min(failures, 1000)).passes
            if plan <= needed:
                break
            needed = plan
        more = max(0, needed - rate.trials)
        return more, (
            f"{more} passes more would show the limit of {100 * limit:g} % by pass if "
            f"{percent(rate.rate or 0.0)} of passes go on to have a miss"
        )
    more = max(rate.trials, 1)
    while _half(_with_more(rate, more, part)) > _half(rate) / 2 and more < _PASSES_MAX:
        more += max(1, more // 4)
    return more, (
        f"{more} passes more would halve the exact interval of passes with a miss, now "
        f"{interval_words(rate)}"
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
        reasons.append("steps that were predicted, not surveyed")
    if halves - set(predicted):
        listed = ", ".join(figure(step) for step in steps)
        reasons.append(
            f"levels half-way beside the steps that were chosen most ({listed} dBm): there the "
            "answer turns"
        )
    width = float(levels[-1] - levels[-2]) if len(levels) > 1 else 1.0
    if strategy.levels_dbm[-1] == levels[-1]:
        halves.add(round(float(levels[-1]) + width, 2))
        reasons.append("above the highest level, where that is lawful: the top step is at the end")
    if len(levels) > 1 and strategy.levels_dbm[0] == levels[0]:
        halves.add(round(float(levels[0]) - float(levels[1] - levels[0]), 2))
        reasons.append("below the lowest level: the lowest step is at the end")
    allowed = {level for level in halves if LEVEL_DBM_MIN <= level <= LEVEL_DBM_MAX}
    unlawful = lawful_at(np.array(sorted(allowed)), read_point.policy.radio).above_dbm
    return tuple(sorted(allowed.difference(unlawful))), reasons
