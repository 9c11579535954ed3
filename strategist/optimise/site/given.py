"""A read point's choice with a part of the strategy given: masks, cutoff, ladder, or fewer steps.

Masks that are set hide the tags that they reject, and a cutoff the reads below it. So what is left
to choose is a problem of the same kind, with fewer reads, and the exact search answers it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strategist.optimise.problem import Problem
from strategist.survey.profile import Profile
from strategist.survey.records import Bools
from strategist.tags.candidates import Candidates

__all__ = ["with_cutoff", "with_ladder", "with_masks", "with_steps"]


def with_masks(problem: Problem, through: Bools, masks: int) -> Problem:
    """With a chain of so many masks that lets these classes through (shape (classes,))."""
    none = Candidates((), (), np.zeros((0, 1), bool), problem.candidates.tag_class * 0, 0)

    def seen(profile: Profile) -> Profile:
        rssi = np.where(through[profile.row_class][:, None], profile.rssi, -np.inf)
        return replace(profile, rssi=rssi, row_class=profile.row_class * 0, classes=1)

    return replace(
        problem,
        profile=seen(problem.profile),
        guarded=seen(problem.guarded),
        candidates=none,
        steps_by_masks=(problem.steps_by_masks[masks],),
        slots=0,
    )


def with_cutoff(problem: Problem, least: float) -> Problem:
    """With a cutoff at which reads of `least` (dBm, or dB of a difference) and above count; −inf:
    without one."""

    def heard(profile: Profile) -> Profile:
        return replace(profile, rssi=np.where(profile.rssi >= least, profile.rssi, -np.inf))

    return replace(
        problem,
        profile=heard(problem.profile),
        guarded=heard(problem.guarded),
        thresholds=np.array([-np.inf]),
        below=(-np.inf,),
    )


def with_ladder(problem: Problem, levels: Sequence[int]) -> Problem:
    """With all of these levels (indices, ascending) as steps, and no others."""
    keep = np.isin(np.arange(len(problem.profile.levels_dbm)), levels)
    return replace(
        problem,
        profile=problem.profile.at_levels(keep),
        guarded=problem.guarded.at_levels(keep),
        steps_by_masks=_at_most(problem, len(levels), least=len(levels)),
        slots=sum(steps >= len(levels) for steps in problem.steps_by_masks) - 1,
        whole_ladder=True,
    )


def with_steps(problem: Problem, most: int) -> Problem:
    """With ladders of at most so many steps (1 or more)."""
    return replace(problem, steps_by_masks=_at_most(problem, most))


def _at_most(problem: Problem, most: int, least: int = 1) -> tuple[int, ...]:
    return tuple(min(most, steps) for steps in problem.steps_by_masks if steps >= least)
