"""Strategies of one read point at another: what they are there is what the evaluator says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.optimise.problem import pose
from strategist.optimise.site.elsewhere import (
    answer_elsewhere,
    needed_masks,
    replayed_elsewhere,
)
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Tag
from strategist.tags.mask import Mask, chain_accepts
from strategist.trust.evaluate import evaluate
from tests.optimise.made import chains, random_read_point

TAGS = (Tag("3001"), Tag("3002"), Tag("3501"))
MASKS = tuple(Mask("epc", 32, 8, pattern) for pattern in ("30", "35", "36"))


def test_masks_that_are_needed_let_the_same_through() -> None:
    """Every chain of up to three masks, one of which matches no tag."""
    for chain in chains(MASKS, 3):
        through = [chain_accepts(chain, tag) for tag in TAGS]
        needed = needed_masks(chain, TAGS)
        if needed is None:
            assert not any(through)
        else:
            assert [chain_accepts(needed, tag) for tag in TAGS] == through
            assert all(
                len({chain_accepts((replace(m, join=None),), t) for t in TAGS}) == 2 for m in needed
            )


@pytest.mark.parametrize("seed", range(20))
def test_a_strategy_elsewhere_is_what_the_evaluator_says(seed: int) -> None:
    point, rng = random_read_point(seed), np.random.default_rng(seed)
    survey, policy = point.survey, point.policy
    problem, found = pose(survey, policy), 0
    for _ in range(20):
        size = int(rng.integers(1, 3))
        levels = sorted(rng.choice(survey.levels_dbm, min(size, len(survey.levels_dbm)), False))
        masks = tuple(rng.choice(np.array([*chains(MASKS, 1)], object)))
        cutoff = None if rng.random() < 0.3 else float(rng.integers(-70, -55))
        strategy = Strategy(tuple(levels), int(rng.integers(1, 4)), cutoff, masks)
        outcome = evaluate(survey, policy, strategy)
        key = replayed_elsewhere(problem, strategy, survey.tags)
        answer = answer_elsewhere(problem, strategy, survey.tags)
        assert key is None or key[1] == pytest.approx(outcome.loss)
        assert answer is None or answer.key[1] == pytest.approx(outcome.loss)
        assert answer is None or key is not None
        found += key is not None
    assert found or policy.reader.ladder_steps_max == 1 or not policy.reader.mask_slots
