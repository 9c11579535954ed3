"""A strategy that is known already, as an answer of a problem: something to begin with."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strategist.optimise.problem import Answer, Chain, Literal, Problem, answer_at
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Tag
from strategist.tags.mask import Mask, chain_accepts

__all__ = ["answer_of"]

_SAME_LEVEL_DB = 1e-6


def answer_of(problem: Problem, strategy: Strategy, tags: Sequence[Tag]) -> Answer | None:
    """The answer that a strategy is; None where the problem does not allow it.

    `tags` are those of the survey. A mask is taken for the candidate that selects the same of them.
    """
    if strategy.score != problem.score or strategy.step_s != problem.step_s:
        return None
    levels, cutoff = _levels(problem, strategy), _cutoff(problem, strategy)
    chain = _chain(problem, strategy.masks, tags)
    if levels is None or cutoff is None or chain is None:
        return None
    steps = problem.steps_by_masks[len(chain.literals)]
    top = len(problem.profile.levels_dbm) - 1
    if len(levels) > steps or (problem.top_fixed and levels[-1] != top):
        return None
    return answer_at(problem, chain, cutoff, levels)


def _levels(problem: Problem, strategy: Strategy) -> tuple[int, ...] | None:
    if strategy.stop_after != problem.policy.stop_after:
        return None
    near = np.abs(np.subtract.outer(strategy.levels_dbm, problem.profile.levels_dbm))
    if (near.min(axis=1) > _SAME_LEVEL_DB).any():
        return None
    return tuple(near.argmin(axis=1).tolist())


def _cutoff(problem: Problem, strategy: Strategy) -> int | None:
    cutoff = strategy.cutoff
    if cutoff is None:
        return 0
    number = int(np.searchsorted(problem.thresholds, cutoff))
    if number >= len(problem.thresholds):
        return None
    return 0 if number == 1 and cutoff <= problem.below[1] else number


def _chain(problem: Problem, masks: Sequence[Mask], tags: Sequence[Tag]) -> Chain | None:
    if len(masks) > problem.slots:
        return None
    literals = []
    for mask in masks:
        literal = _literal(problem, mask, tags)
        if literal is None:
            return None
        literals.append(literal)
    return Chain(tuple(literals), tuple(mask.join or "and" for mask in masks[1:]))


def _literal(problem: Problem, mask: Mask, tags: Sequence[Tag]) -> Literal | None:
    """The candidate, as it is or negated, that tells the same tags apart."""
    first = Mask(mask.bank, mask.pointer, mask.length, mask.pattern, mask.negate)
    passes = np.array([chain_accepts((first,), tag) for tag in tags], bool)
    by_tag = problem.candidates.matches[:, problem.candidates.tag_class]
    for negate in (False, True):
        same = np.flatnonzero((by_tag == (passes != negate)).all(axis=1))
        if len(same):
            return Literal(int(same[0]), negate)
    return None
