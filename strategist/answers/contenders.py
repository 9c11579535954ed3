"""Which strategies could still be best at a read point that is surveyed in part.

What was not tried is drawn: `DRAWS` surveys that may be (`radio.possible`), each solved. The
strategy in hand is the one of their best that loses least in the mean of all; its regret in a draw
is what it loses there above the best of that draw.

If what is true is as likely as any of the draws, its regret is as likely as theirs to be the
largest of all: above the largest of n it is in one of n + 1 cases (exchangeability; a one-sided
prediction bound by order statistics: Wilks, Ann. Math. Stat. 12, 1941). 19 draws give 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from strategist.answers.solution import Options, solve
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy
from strategist.radio.possible import possible_surveys
from strategist.survey.policy import InConditions, Policy
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, ReadPoint, Survey
from strategist.survey.score import scored
from strategist.tags.mask import chain_accepts
from strategist.trust.evaluate import evaluate

__all__ = ["DRAWS", "Contenders", "contenders_of"]

DRAWS = 19


@dataclass(frozen=True, eq=False)
class Contenders:
    """Strategies that are best in some draw, in the order found, with `loss[s, k, p]` of each in
    pass p of draw k and `excess[s, k]` over the hard limits; `best[k]` is that of draw k, and
    `heard[k]` the peaks of roster entries there."""

    survey: Survey
    strategies: tuple[Strategy, ...]
    best: tuple[int, ...]
    loss: Floats
    excess: Floats
    heard: Floats

    @cached_property
    def hand(self) -> int:
        """The strategy in hand: least excess in the mean of all draws, then least loss."""
        return int(np.lexsort((self.loss.sum(axis=2).mean(axis=1), self.excess.mean(axis=1)))[0])

    @cached_property
    def regret(self) -> Floats:
        """What the strategy in hand loses in each draw above the best there, ≥ 0."""
        total = self.loss.sum(axis=2)
        found: Floats = np.maximum(
            0.0, total[self.hand] - total[list(self.best), range(self.draws)]
        )
        return found

    @property
    def draws(self) -> int:
        return len(self.best)

    @property
    def others(self) -> list[int]:
        return sorted({one for one in self.best if one != self.hand})

    def doubt(self, other: int) -> Floats:
        """By pass: the variance over the draws of how much more the strategy in hand loses."""
        found: Floats = (self.loss[self.hand] - self.loss[other]).var(axis=0)
        return found

    def needs(self, other: int) -> dict[int, tuple[int, ...]]:
        """Pass → levels not tried, at which the draws differ in what is accepted by either."""
        open_ = self._open(self.hand) | self._open(other)
        passes = np.flatnonzero(open_.any(axis=1))
        return {int(p): tuple(map(int, np.flatnonzero(open_[p]))) for p in passes}

    def _open(self, number: int) -> Bools:
        """Pairs of pass and level in doubt for one strategy: shape (passes, levels)."""
        strategy, survey = self.strategies[number], self.survey
        through = np.array([chain_accepts(strategy.masks, tag) for tag in survey.tags], bool)
        least = -np.inf if strategy.cutoff is None else strategy.cutoff
        accepted = np.isfinite(self.heard) & (self.heard >= least)
        share = accepted.mean(axis=0)
        at = np.isin(survey.levels_dbm, strategy.levels_dbm)
        differs = (share > 0) & (share < 1) & through[survey.roster_tag][:, None] & at
        found = np.zeros_like(survey.tried)
        np.logical_or.at(found, survey.roster_pass, differs)
        return found & ~survey.tried


def contenders_of(read_point: ReadPoint, options: Options) -> Contenders | None:
    """The strategies that may be best at a read point each of whose passes was tried at a level.

    Each pass counts once, and of several antennas the strongest read. None where the time of the
    options ends before all draws are solved.
    """
    clock = Clock(options.total_limit_s or options.time_limit_s)
    policy = _plain(read_point.policy)
    heard_in_time = scored(read_point.survey, policy, None, policy.time.steps_s[-1])
    assert heard_in_time is not None  # no trims
    survey = heard_in_time.survey
    draws = 1 if survey.tried.all() else DRAWS
    drawn = possible_surveys(survey.each_once(), draws, (options.seed,))
    strategies: list[Strategy] = []
    best: list[int] = []
    for number, one in enumerate(drawn):
        if clock.left == 0:
            return None
        left = None if clock.left is None else clock.left / (draws - number)
        known = strategies[best[-1]] if best else None
        share = replace(options, time_limit_s=left, total_limit_s=None, method="search")
        found = solve(ReadPoint(one, policy), share, known).strategy
        if found not in strategies:
            strategies.append(found)
        best.append(strategies.index(found))
    losses = [[_losses(one, policy, strategy) for one in drawn] for strategy in strategies]
    loss = np.array([[by_pass for by_pass, _ in row] for row in losses])
    excess = np.array([[over for _, over in row] for row in losses])
    heard = np.array([peaks(one) for one in drawn])
    return Contenders(survey, tuple(strategies), tuple(best), loss, excess, heard)


def _plain(policy: Policy) -> Policy:
    """The policy where each pass counts once and antennas are one."""
    allow = tuple(one for one in policy.allow if one != "antennas")
    return replace(policy, allow=allow, aim="survey", conditions=InConditions())


def _losses(survey: Survey, policy: Policy, strategy: Strategy) -> tuple[Floats, float]:
    """Loss by pass, and excess over the hard limits."""
    outcome, weights = evaluate(survey, policy, strategy), policy.loss
    by_pass = [
        weights.missed * len(one.missed) + weights.stray * len(one.stray) for one in outcome.by_pass
    ]
    return np.array(by_pass), policy.limits.excess(outcome.missed_rate, outcome.stray_rate)
