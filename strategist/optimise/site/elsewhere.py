"""A strategy of one read point at another: what it is there, as an answer to the problem there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strategist.optimise.known import answer_of
from strategist.optimise.problem import Answer, Counts, Problem
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Bools, Tag
from strategist.tags.mask import Mask, chain_accepts

__all__ = ["answer_elsewhere", "needed_masks", "replayed_elsewhere"]

_SAME_DB = 1e-6


def answer_elsewhere(problem: Problem, strategy: Strategy, tags: Sequence[Tag]) -> Answer | None:
    """The answer that a strategy is to a problem whose tags these are; None where it is none there,
    or rejects every tag.

    Masks that hold for all tags here, or for none, are left out of the chain; with those that stay
    it must be a chain of the problem, and its ladder must fit with all of them.
    """
    masks, steps = len(strategy.masks), len(strategy.levels_dbm)
    if masks >= len(problem.steps_by_masks) or steps > problem.steps_by_masks[masks]:
        return None
    needed = needed_masks(strategy.masks, tags)
    if needed is None:
        return None
    return answer_of(problem, replace(strategy, masks=needed), tags)


def replayed_elsewhere(
    problem: Problem, strategy: Strategy, tags: Sequence[Tag]
) -> tuple[float, float] | None:
    """(excess, loss) of a strategy at a read point where it need not be among those searched: with
    another stop, or masks that are no candidates. None where its levels may not be set, it takes
    too long, or its masks part tags that the problem holds for alike."""
    masks, steps = len(strategy.masks), len(strategy.levels_dbm)
    if (strategy.score, strategy.step_s) != (problem.score, problem.step_s):
        return None
    if masks >= len(problem.steps_by_masks) or steps > problem.steps_by_masks[masks]:
        return None
    through = _classes(problem, strategy.masks, tags)
    near = np.abs(np.subtract.outer(strategy.levels_dbm, problem.profile.levels_dbm))
    if through is None or (near.min(axis=1) > _SAME_DB).any():
        return None
    least = -np.inf if strategy.cutoff is None else strategy.cutoff
    ladder = near.argmin(axis=1)[None, ::-1]
    found = Counts(*problem.counts(ladder, least, through, strategy.stop_after)[0].tolist())
    return problem.excess(found), problem.loss(found)


def _classes(problem: Problem, masks: Sequence[Mask], tags: Sequence[Tag]) -> Bools | None:
    """The classes that a chain lets through; None where it parts one."""
    passes = np.array([chain_accepts(tuple(masks), tag) for tag in tags], bool)
    klass = problem.candidates.tag_class
    let, size = np.bincount(klass, passes), np.bincount(klass)
    if ((let != 0) & (let != size)).any():
        return None
    through: Bools = let > 0
    return through


def needed_masks(masks: Sequence[Mask], tags: Sequence[Tag]) -> tuple[Mask, ...] | None:
    """The masks of a chain that tell tags apart, joined as they are; None: it rejects every tag."""
    kept: list[Mask] = []
    so_far = True  # of every tag, while none is kept
    for number, mask in enumerate(masks):
        alone = replace(mask, join=None)
        found = {chain_accepts((alone,), tag) for tag in tags}
        either = number > 0 and mask.join == "or"
        if len(found) == 1:
            holds = found.pop()
            if holds == either:  # "or" all, "and" none: whatever was before
                kept, so_far = [], holds
            continue
        if not kept and so_far == either and number:
            continue  # all or this: all; none and this: none
        join = mask.join if kept else None
        kept.append(replace(mask, join=join))
    if not kept and not so_far:
        return None
    return tuple(kept)
