"""Acceptance: how many passes show that a miss rate is low enough, and what a run has shown.

A trial is one pass, and a failure is a pass in which something went wrong (a wanted tag missed,
say). Passes must be independent: load, move and unload again for each. Exact binomial all over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Literal

from strategist.errors import InputError
from strategist.survey.answer import Declared, told
from strategist.survey.late import special
from strategist.trust.intervals import (
    check_confidence,
    check_counts,
    lower_bound,
    percent_down,
    percent_up,
    upper_bound,
)

Verdict = Literal["accepted", "rejected", "inconclusive"]

_HAIR = 1e-12  # floating-point noise of the binomial sums
_FAILURES_MAX = 1000
_ALLOWED = ("allowed_failures", "passes")  # the names of the counts of a plan
_SHOWN = (0.1, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0)  # true rates of the printed curve, in limits


def operating_characteristic(
    passes: int, allowed_failures: int, true_rates: Sequence[float]
) -> tuple[float, ...]:
    """Probability of acceptance at each true failure rate (0 to 1): P(failures <= allowed)."""
    allowed, count = check_counts(allowed_failures, passes, _ALLOWED)
    rates = [_check_rate("true_rates", rate, 0.0, 1.0) for rate in true_rates]
    return tuple(_at_most(allowed, count, rate) for rate in rates)


@dataclass(frozen=True)
class Chance(Declared):
    """That a read point of a true failure rate is accepted."""

    true_rate: float
    acceptance_probability: float


@dataclass(frozen=True)
class AcceptancePlan(Declared):
    """Run `passes`; accept with at most `allowed_failures` failures.

    A read point whose true rate is `miss_rate_max` or more is accepted with a probability of at
    most 1 - `confidence`. Raises InputError for a plan that does not show that.
    """

    miss_rate_max: float
    confidence: float
    passes: int
    allowed_failures: int

    def __post_init__(self) -> None:
        _check_limit(self.miss_rate_max)
        check_confidence(self.confidence)
        check_counts(self.allowed_failures, self.passes, _ALLOWED)
        if not _shows(self.miss_rate_max, self.confidence, self.passes, self.allowed_failures):
            wrong = (
                f"{self.passes} are too few to show a rate of at most {self.miss_rate_max:g} with "
                f"confidence {self.confidence:g} and {self.allowed_failures} failures"
            )
            raise InputError.one("acceptance", self.passes, "more", column="passes", wrong=wrong)

    def acceptance_probability(self, true_rate: float) -> float:
        """Probability that a read point with that true failure rate is accepted."""
        return operating_characteristic(self.passes, self.allowed_failures, [true_rate])[0]

    def producers_risk(self, good_rate: float) -> float:
        """Probability that a read point of that good true failure rate is refused all the same."""
        return 1 - self.acceptance_probability(good_rate)

    @told(after="allowed_failures")
    def operating_characteristic(self) -> tuple[Chance, ...]:
        """The probability of acceptance at some true rates."""
        rates = [min(1.0, part * self.miss_rate_max) for part in _SHOWN]
        chances = operating_characteristic(self.passes, self.allowed_failures, rates)
        return tuple(map(Chance, rates, chances))

    @told(after="allowed_failures")
    def sentence(self) -> str:
        """The plan in plain words."""
        failures = f"{self.allowed_failures} of them" if self.allowed_failures else "none of them"
        most = "at most " if self.allowed_failures else ""
        good = self.miss_rate_max / 10
        return (
            f"Run {self.passes} independent passes; accept if {most}{failures} fail. That shows "
            f"a failure rate of at most {self.miss_rate_max * 100:g} % with "
            f"{self.confidence * 100:g} % confidence. A read point whose true failure rate is "
            f"{good * 100:g} % is accepted with probability "
            f"{100 * self.acceptance_probability(good):.0f} %. Fix the number of passes "
            "beforehand and do not extend the run after looking at the results: the stated "
            "confidence then no longer holds."
        )


def plan_acceptance(
    miss_rate_max: float, confidence: float = 0.95, allowed_failures: int = 0
) -> AcceptancePlan:
    """The plan with the fewest passes for that many failures."""
    limit = _check_limit(miss_rate_max)
    share = check_confidence(confidence)
    allowed, _ = check_counts(allowed_failures, _FAILURES_MAX, _ALLOWED)
    return AcceptancePlan(limit, share, _fewest_passes(limit, share, allowed), allowed)


def plans(
    miss_rate_max: float, confidence: float = 0.95, failures: Sequence[int] = (0, 1, 2, 3)
) -> tuple[AcceptancePlan, ...]:
    """A plan for each number of failures allowed: more passes, and kinder to a good read point."""
    return tuple(plan_acceptance(miss_rate_max, confidence, count) for count in failures)


def plan_for_good_site(
    miss_rate_max: float, good_rate: float, confidence: float = 0.95, risk_max: float = 0.1
) -> AcceptancePlan:
    """The shortest plan that refuses a read point of true rate `good_rate` with at most `risk_max`.

    Raises InputError where more than 1000 failures would have to be allowed (`good_rate` too
    near the limit).
    """
    limit = _check_limit(miss_rate_max)
    good = _check_rate("good_rate", good_rate, 0.0, limit)
    risk = _check_rate("risk_max", risk_max, 0.001, 0.5)
    for allowed in range(_FAILURES_MAX + 1):
        plan = plan_acceptance(limit, confidence, allowed)
        if plan.producers_risk(good) <= risk + _HAIR:
            return plan
    raise InputError.one(
        "acceptance", good_rate, f"a rate well below {limit:g}", column="good_rate"
    )


@dataclass(frozen=True)
class RunVerdict(Declared):
    """What a run has shown. `lower` and `upper` are one-sided exact bounds of the true rate."""

    verdict: Verdict
    sentence: str
    miss_rate_max: float
    confidence: float
    failures: int
    passes: int
    lower: float
    upper: float


def judge_run(
    miss_rate_max: float, failures: int, passes: int, confidence: float = 0.95, part: float = 1.0
) -> RunVerdict:
    """Judge a run of passes against a limit of the true failure rate.

    `accepted`: the upper bound is at most the limit. `rejected`: the lower bound is above it.
    `inconclusive`: the run can show neither. `part` (0 to 1) is the share of the passes that
    counts, where neighbours are alike.
    """
    limit = _check_limit(miss_rate_max)
    share = check_confidence(confidence)
    k, n = check_counts(failures, passes, ("failures", "passes"))
    lower, upper = lower_bound(k, n, share, part), upper_bound(k, n, share, part)
    verdict: Verdict = "inconclusive"
    if _shows(limit, share, n, k) and (part == 1 or upper <= limit):  # free of rounding noise
        verdict = "accepted"
    elif lower > limit:
        verdict = "rejected"
    percent = f"{limit * 100:g} %"
    shown: dict[Verdict, str] = {
        "accepted": f"the true rate is at most {percent_up(upper)}, within the limit of {percent}.",
        "rejected": f"the true rate is at least {percent_down(lower)}, above the limit of "
        f"{percent}.",
        "inconclusive": f"the true rate may be up to {percent_up(upper)}, and the limit is "
        f"{percent}: neither side of it is shown.",
    }
    sentence = (
        f"A wanted tag was missed in {k} of {n} passes: {shown[verdict]} (One-sided, "
        f"{share * 100:g} % confidence.)"
    )
    if part < 1:
        sentence += f" Neighbouring passes are alike: the {n} count as {part * n:.2g}."
    if verdict == "inconclusive" and k <= _FAILURES_MAX:
        needed = _fewest_passes(limit, share, k)
        so_many = f"at most {k} failures" if k else "no failure"
        sentence += f" A new run of {needed} passes with {so_many} would be accepted."
    return RunVerdict(verdict, sentence, limit, share, k, n, lower, upper)


def _shows(limit: float, confidence: float, passes: int, failures: int) -> bool:
    """Would so few failures be rarer than 1 - confidence if the true rate were the limit?"""
    return _at_most(failures, passes, limit) <= 1 - confidence + _HAIR


def _at_most(failures: int, passes: int, rate: float) -> float:
    """Probability of at most so many failures, as a tail of the beta law.

    scipy's `stats.binom` tells the same to 13 digits and takes half a second to load.
    """
    if failures == passes:
        return 1.0
    return float(special.betaincc(failures + 1, passes - failures, rate))


def _fewest_passes(limit: float, confidence: float, failures: int) -> int:
    """Bisection: the chance of at most `failures` falls as passes are added."""
    low, high = failures, failures + 1
    while not _shows(limit, confidence, high, failures):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _shows(limit, confidence, middle, failures) else (middle, high)
    return high


def _check_limit(rate: float) -> float:
    return _check_rate("miss_rate_max", rate, 1e-6, 0.999)


def _check_rate(name: str, rate: float, low: float, high: float) -> float:
    number = isinstance(rate, Real) and not isinstance(rate, bool)
    if not (number and low <= rate <= high):
        raise InputError.one("acceptance", rate, f"a share from {low:g} to {high:g}", column=name)
    return float(rate)
