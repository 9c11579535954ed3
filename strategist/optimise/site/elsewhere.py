"""A strategy of one read point at another: what it is there, as an answer to the problem there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from strategist.optimise.known import answer_of
from strategist.optimise.problem import Answer, Problem
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Tag
from strategist.tags.mask import Mask, chain_accepts

__all__ = ["answer_elsewhere", "needed_masks"]


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
