"""What a strategy comes to in each condition, counted from its replay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from strategist.survey.answer import Declared, told
from strategist.survey.occasions import Conditions
from strategist.survey.policy import Policy
from strategist.survey.records import Floats
from strategist.trust.evaluate import Outcome

__all__ = ["InCondition", "in_each", "losses_of"]


@dataclass(frozen=True)
class InCondition(Declared):
    """Counts in the passes of one condition. `share` is how much of all passes it is, by weight;
    `loss_a_pass`, `missed_rate` and `stray_rate` count each pass by its weight. `excess` is by how
    much the rates are over the hard limits (0: kept)."""

    condition: str
    passes: int
    share: float
    wanted: int
    missed: int
    stray: int
    loss_a_pass: float
    missed_rate: Annotated[float | None, Field(description="null: nothing wanted")]
    stray_rate: float
    excess: float

    @told()
    def kept(self) -> bool:
        """Whether the hard limits hold in it."""
        return self.excess <= 0


def in_each(outcome: Outcome, conditions: Conditions, policy: Policy) -> tuple[InCondition, ...]:
    """One for each condition, in their order; `outcome` is of the passes that have them."""
    by_pass, times = outcome.by_pass, conditions.times
    counts = np.array([[p.wanted, len(p.missed), len(p.stray)] for p in by_pass]).reshape(-1, 3)
    found = []
    for c, name in enumerate(conditions.names):
        here = conditions.of_pass == c
        weighed = counts[here] * times[here][:, None]
        passes = int(times[here].sum())
        wanted, missed, stray = weighed.sum(axis=0).tolist()
        loss = policy.loss.missed * missed + policy.loss.stray * stray
        rate = missed / wanted if wanted else None
        presented, not_read, let_in = counts[here].sum(axis=0).tolist()
        excess = round(policy.limits.excess(rate, stray / passes), 6)
        found.append(
            InCondition(
                name,
                int(here.sum()),
                float(conditions.share[c]),
                presented,
                not_read,
                let_in,
                round(loss / passes, 6),
                rate,
                stray / passes,
                excess,
            )
        )
    return tuple(found)


def losses_of(each: tuple[InCondition, ...]) -> Floats:
    """Loss a pass in each condition."""
    return np.array([one.loss_a_pass for one in each])
