"""What is summed over missed and stray tags: the loss, what the hard limits cap, and mixtures."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from strategist.optimise.problem import Problem, value

__all__ = ["Aim", "Measure", "aim_at", "measures", "rounding", "spacing"]

_UNIT = 1_000_000  # losses are compared to six decimals


@dataclass(frozen=True, slots=True)
class Measure:
    """Weights of a sum over missed and stray tags, and the limit (cap per tag) that goes with it.

    The first measure of a problem is its loss, with no cap; the others count what a limit caps.
    """

    missed: float
    stray: float
    cap: float = np.inf
    per: int = 1


@dataclass(frozen=True, slots=True)
class Aim:
    """What bounds are computed of: `measure` less `offset`, as a loss or as an excess over limits.

    Values are multiples of `step` (0: any).
    """

    measure: Measure
    offset: float
    excess: bool
    step: float

    def rounded(self, bound: float) -> float:
        """The least value of the aim that is not below a bound of its measure."""
        if math.isinf(bound):
            return bound
        least = bound - self.offset - rounding(bound)
        if self.step:
            return value(self.step * math.ceil(least / self.step))  # a tie must not look dearer
        return least - 1.0 / _UNIT  # compared to six decimals

    @functools.lru_cache(1000)  # noqa: B019 (an aim is as small as a key)
    def above(self, target: float) -> float:
        """The least bound of the measure that is rounded to more than a target."""
        about = target + self.offset
        off = 2 * self.step + 4 * rounding(about) + 4.0 / _UNIT
        low, high = about - off, about + off
        while low < (middle := (low + high) / 2) < high:
            low, high = (low, middle) if self.rounded(middle) > target else (middle, high)
        return high


def rounding(size: float) -> float:
    """What adding up numbers of this size in double precision may be wrong by, amply."""
    return 1e-9 * max(1.0, abs(size))


def measures(problem: Problem) -> tuple[Measure, ...]:
    """The loss, then one measure for each hard limit."""
    policy = problem.policy
    found = [Measure(policy.loss.missed, policy.loss.stray)]
    limits = policy.limits
    if limits.missed_rate_max is not None and problem.wanted:
        found.append(Measure(1.0, 0.0, limits.missed_rate_max, problem.wanted))
    if limits.stray_rate_max is not None:
        found.append(Measure(0.0, 1.0, limits.stray_rate_max, problem.passes))
    return tuple(found)


def aim_at(found: tuple[Measure, ...], excess: float) -> Aim:
    """What to bound when the best strategy so far has this excess over the limits.

    While no strategy keeps the limits: the sum of the measures over their caps, which no excess is
    below. Afterwards: the loss.
    """
    loss, *capped = found
    if excess <= 0:
        return Aim(loss, 0.0, excess=False, step=spacing(loss))
    missed = sum(measure.missed / measure.per for measure in capped)
    stray = sum(measure.stray / measure.per for measure in capped)
    offset = sum(measure.cap for measure in capped)
    return Aim(Measure(missed, stray), offset, excess=True, step=0.0)


def spacing(loss: Measure) -> float:
    """The number that every loss is a multiple of; 0 where the weights are finer than compared."""
    weights = [round(weight * _UNIT) for weight in (loss.missed, loss.stray)]
    exact = all(
        abs(whole / _UNIT - weight) <= 1e-12 * weight
        for whole, weight in zip(weights, (loss.missed, loss.stray), strict=True)
    )
    return math.gcd(*weights) / _UNIT if exact else 0.0
