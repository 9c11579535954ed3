"""What one strategy accepts and loses in a survey by the peaks of its roster entries alone, of many
presentations at once: the same as `evaluate` finds in each, in numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.survey.records import Bools, Floats, Survey
from strategist.tags.mask import Mask, accepted_by

__all__ = ["AtPeaks", "let_through"]


def let_through(survey: Survey, masks: Sequence[Mask]) -> Bools:
    """Which entries of the roster a chain of masks lets through."""
    found: Bools = np.array(accepted_by(tuple(masks), survey.tags), bool)
    return found[survey.roster_tag]


class AtPeaks:
    """A strategy without a score of its own, at the roster of a survey; `through` are the entries
    that its masks let through, where that is known."""

    def __init__(
        self, survey: Survey, policy: Policy, strategy: Strategy, through: Bools | None = None
    ) -> None:
        self.survey, self.policy, self.strategy = survey, policy, strategy
        self.through = let_through(survey, strategy.masks) if through is None else through
        self.at = np.flatnonzero(np.isin(survey.levels_dbm, strategy.levels_dbm))
        self.least = -np.inf if strategy.cutoff is None else strategy.cutoff

    def accepts(self, heard: Floats) -> Bools:
        """Which of the peaks (…, entries, levels) in dBm pass cutoff and masks."""
        found: Bools = np.isfinite(heard) & (heard >= self.least) & self.through[:, None]
        return found

    def weighed(self, heard: Floats) -> Floats:
        """Loss by pass and level of peaks (entries, levels), if each level alone were the strategy,
        less that of all that is missed: shape (passes, levels)."""
        survey, weights = self.survey, self.policy.loss
        passes, levels = survey.tried.shape
        weight = np.where(survey.roster_wanted, -weights.missed, weights.stray)
        entry, level = np.nonzero(self.accepts(heard))
        at = survey.roster_pass[entry] * levels + level
        found: Floats = np.bincount(at, weight[entry], minlength=passes * levels).astype(float)
        return found.reshape(passes, levels)

    def counted(self, heard: Floats) -> tuple[Floats, Floats]:
        """Wanted tags missed and strays reported of peaks (times, entries, levels): shape (times,
        passes)."""
        survey = self.survey
        times, passes = len(heard), len(survey.pass_ids)
        reported = np.logical_or.accumulate(self.accepts(heard[:, :, self.at]), axis=2)
        of_pass = survey.roster_pass + passes * np.arange(times)[:, None]
        count = np.array(
            [
                np.bincount(of_pass[reported[:, :, step]], minlength=times * passes)
                for step in range(len(self.at))
            ]
        )
        done = count >= self.strategy.stop_after
        last = np.where(done.any(axis=0), done.argmax(axis=0), len(self.at) - 1)
        told = np.take_along_axis(reported, last[of_pass][:, :, None], axis=2)[:, :, 0]
        wanted = survey.roster_wanted
        missed, stray = (
            np.bincount(of_pass[some], minlength=times * passes).astype(float)
            for some in (~told & wanted, told & ~wanted)
        )
        return missed.reshape(times, passes), stray.reshape(times, passes)

    def lost(self, heard: Floats) -> tuple[Floats, float]:
        """Mean loss by pass over peaks (times, entries, levels), and excess over the limits."""
        missed, stray = self.counted(heard)
        weights = self.policy.loss
        lost: Floats = weights.missed * missed + weights.stray * stray
        return lost.mean(axis=0), self.over(missed, stray)

    def over(self, missed: Floats, stray: Floats) -> float:
        """Excess over the limits of what is missed and reported (times, passes)."""
        wanted = len(missed) * int(self.survey.roster_wanted.sum())
        rate = float(missed.sum()) / wanted if wanted else None
        return self.policy.limits.excess(rate, float(stray.mean()))
