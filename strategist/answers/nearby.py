"""Better strategies near one that is known, by trial in many presentations at once.

What is best of one draw of a small survey fits its chance; a walk from there, over many copies of
many draws, comes to what is best of these together, in a fraction of the time that solving them
would take. Nothing is proven by it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from strategist.optimise.installable import installable
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import DECIMALS, RSSI_DBM_MAX, RSSI_DBM_MIN, Policy
from strategist.survey.records import Bools, Floats, Survey
from strategist.tags.mask import Mask
from strategist.trust.at_peaks import AtPeaks, let_through

__all__ = ["Nearby"]

WALK_MAX = 30  # steps
_LEVELS, _CUTOFFS = (1, 2, -1, -2), (1, 2, 4, -1, -2, -4)  # how far a step of a walk goes
_CUTOFF_STEP_DB = 0.5  # where the reader takes any


class Nearby:
    """The strategies that a policy allows at a survey, with what was found of them."""

    def __init__(self, survey: Survey, policy: Policy, may: Bools) -> None:
        self.survey, self.policy = survey, policy
        self.levels = survey.levels_dbm[may].tolist()
        self._through: dict[tuple[Mask, ...], Bools] = {}
        self._allowed: dict[Strategy, bool] = {}

    def at(self, strategy: Strategy) -> AtPeaks:
        masks = strategy.masks
        if masks not in self._through:
            self._through[masks] = let_through(self.survey, masks)
        return AtPeaks(self.survey, self.policy, strategy, self._through[masks])

    def walk(self, start: Strategy, heard: Floats, draws: int = 1) -> Strategy:
        """From a strategy to a better neighbour, until there is none, by their `value`."""
        here, least = start, self.value(start, heard, draws)
        for _ in range(WALK_MAX):
            for other in self._neighbours(here):
                value = self.value(other, heard, draws)
                if value < least and self._may(other):
                    here, least = other, value
                    break
            else:
                break
        return here

    def value(self, strategy: Strategy, heard: Floats, draws: int = 1) -> tuple[float, float]:
        """Excess over the limits in the mean of some draws, then the mean loss, over peaks (times,
        entries, levels) of one draw after the other."""
        at, weights = self.at(strategy), self.policy.loss
        missed, stray = at.counted(heard)
        of_draws = zip(np.split(missed, draws), np.split(stray, draws), strict=True)
        excess = sum(at.over(*one) for one in of_draws) / draws
        lost = weights.missed * missed.sum() + weights.stray * stray.sum()
        return excess, round(float(lost) / len(heard), 9)

    def _may(self, strategy: Strategy) -> bool:
        if strategy not in self._allowed:
            self._allowed[strategy] = installable(strategy, self.policy, self.survey)
        return self._allowed[strategy]

    def _neighbours(self, strategy: Strategy) -> Iterator[Strategy]:
        """One step moved, left out or added; the cutoff moved or left out."""
        for levels in self._ladders([self.levels.index(one) for one in strategy.levels_dbm]):
            yield replace(strategy, levels_dbm=tuple(self.levels[one] for one in levels))
        if strategy.cutoff_dbm is not None:
            step = self.policy.reader.rssi_step_db or _CUTOFF_STEP_DB
            for steps in _CUTOFFS:
                moved = round(strategy.cutoff_dbm + steps * step, DECIMALS)
                if RSSI_DBM_MIN <= moved <= RSSI_DBM_MAX:
                    yield replace(strategy, cutoff_dbm=moved)
            yield replace(strategy, cutoff_dbm=None)

    def _ladders(self, at: Sequence[int]) -> Iterator[list[int]]:
        for number, one in enumerate(at):
            rest = [*at[:number], *at[number + 1 :]]
            for moved in (one + far for far in _LEVELS):
                if 0 <= moved < len(self.levels) and moved not in rest:
                    yield sorted([*rest, moved])
            if rest:
                yield rest
        if 1 < len(at) < self.policy.reader.ladder_steps_max:
            for one in np.setdiff1d(np.arange(len(self.levels)), at).tolist():
                yield sorted([*at, one])
