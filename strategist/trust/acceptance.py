"""Acceptance: how many passes show that a miss rate is low enough, and what a run has shown.

A trial is one pass, and a failure is a pass in which something went wrong (a wanted tag missed,
say). Passes must be independent: load, move and unload again for each. Exact binomial all over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Literal

from scipy import stats

from strategist.errors import InputError
from strategist.survey.answer import Declared, told
from strategist.trust.intervals import (
    check_confidence,
    check_counts,
    lower_bound,
    percent_down,
    percent_up,
    upper_bound,
)

Verdict = Literal["pass", "fail", "not enough"]

_HAIR = 1e-12  # floating-point noise of the binomial sums
_FAILURES_MAX = 1000
_ALLOWED = ("failures_allowed", "passes")  # the names of the counts of a plan
_SHOWN = (0.1, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0)  # true rates of the printed curve, in limits


def operating_characteristic(
    passes: int, failures_allowed: int, true_rates: Sequence[float]
) -> tuple[float, ...]:
    """Chance of passing for each true failure rate (0 to 1): P(failures <= allowed)."""
    allowed, count = check_counts(failures_allowed, passes, _ALLOWED)
    rates = [_check_rate("true_rates", rate, 0.0, 1.0) for rate in true_rates]
    return tuple(float(stats.binom.cdf(allowed, count, rate)) for rate in rates)


@dataclass(frozen=True)
class Chance(Declared):
    """That a site of a true failure rate passes."""

    true_rate: float
    pass_probability: float


@dataclass(frozen=True)
class AcceptancePlan(Declared):
    """Run `passes`; accept with at most `failures_allowed` failures.

    A site whose true rate is `rate_limit` or more passes with a chance of at most
    1 - `confidence`. Raises InputError for a plan that does not show that.
    """

    rate_limit: float
    confidence: float
    passes: int
    failures_allowed: int

    def __post_init__(self) -> None:
        _check_limit(self.rate_limit)
        check_confidence(self.confidence)
        check_counts(self.failures_allowed, self.passes, _ALLOWED)
        if not _shows(self.rate_limit, self.confidence, self.passes, self.failures_allowed):
            wrong = (
                f"{self.passes} are too few to show a rate of at most {self.rate_limit:g} with "
                f"confidence {self.confidence:g} and {self.failures_allowed} failures"
            )
            raise InputError.one("acceptance", self.passes, "more", column="passes", wrong=wrong)

    def pass_probability(self, true_rate: float) -> float:
        """Chance that a site with that true failure rate passes."""
        return operating_characteristic(self.passes, self.failures_allowed, [true_rate])[0]

    def producers_risk(self, good_rate: float) -> float:
        """Chance that a good site, of that true failure rate, is refused all the same."""
        return 1 - self.pass_probability(good_rate)

    @told(after="failures_allowed")
    def operating_characteristic(self) -> tuple[Chance, ...]:
        """The chance of passing at some true rates."""
        rates = [min(1.0, part * self.rate_limit) for part in _SHOWN]
        chances = operating_characteristic(self.passes, self.failures_allowed, rates)
        return tuple(map(Chance, rates, chances))

    @told(after="failures_allowed")
    def sentence(self) -> str:
        """The plan in plain words."""
        failures = f"{self.failures_allowed} of them" if self.failures_allowed else "none of them"
        most = "at most " if self.failures_allowed else ""
        good = self.rate_limit / 10
        return (
            f"Run {self.passes} independent passes; accept if {most}{failures} fail. That shows "
            f"a failure rate of at most {self.rate_limit * 100:g} % with "
            f"{self.confidence * 100:g} % confidence. A site that truly fails in "
            f"{good * 100:g} % of passes is accepted with a chance of "
            f"{100 * self.pass_probability(good):.0f} %. Fix the number of passes "
            "beforehand: a run made longer after a look at it shows less."
        )


def plan_acceptance(
    rate_limit: float, confidence: float = 0.95, failures_allowed: int = 0
) -> AcceptancePlan:
    """The plan with the fewest passes for that many failures."""
    limit = _check_limit(rate_limit)
    share = check_confidence(confidence)
    allowed, _ = check_counts(failures_allowed, _FAILURES_MAX, _ALLOWED)
    return AcceptancePlan(limit, share, _fewest_passes(limit, share, allowed), allowed)


def plans(
    rate_limit: float, confidence: float = 0.95, failures: Sequence[int] = (0, 1, 2, 3)
) -> tuple[AcceptancePlan, ...]:
    """A plan for each number of failures allowed: more passes, and kinder to a good site."""
    return tuple(plan_acceptance(rate_limit, confidence, count) for count in failures)


def plan_for_good_site(
    rate_limit: float, good_rate: float, confidence: float = 0.95, risk_max: float = 0.1
) -> AcceptancePlan:
    """The shortest plan that refuses a site of true rate `good_rate` with at most `risk_max`.

    Raises InputError where more than 1000 failures would have to be allowed (`good_rate` too
    near the limit).
    """
    limit = _check_limit(rate_limit)
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
    rate_limit: float
    confidence: float
    failures: int
    passes: int
    lower: float
    upper: float


def judge_run(
    rate_limit: float, failures: int, passes: int, confidence: float = 0.95, part: float = 1.0
) -> RunVerdict:
    """Judge a run of passes against a limit of the true failure rate.

    `pass`: the upper bound is at most the limit. `fail`: the lower bound is above it. `not
    enough`: the run can show neither. `part` (0 to 1) is the share of the passes that counts,
    where neighbours are alike.
    """
    limit = _check_limit(rate_limit)
    share = check_confidence(confidence)
    k, n = check_counts(failures, passes, ("failures", "passes"))
    lower, upper = lower_bound(k, n, share, part), upper_bound(k, n, share, part)
    verdict: Verdict = "not enough"
    if _shows(limit, share, n, k) and (part == 1 or upper <= limit):  # free of rounding noise
        verdict = "pass"
    elif lower > limit:
        verdict = "fail"
    percent = f"{limit * 100:g} %"
    shown: dict[Verdict, str] = {
        "pass": f"the true rate is at most {percent_up(upper)}, within the limit of {percent}.",
        "fail": f"the true rate is at least {percent_down(lower)}, above the limit of {percent}.",
        "not enough": f"the true rate may be up to {percent_up(upper)}, and the limit is "
        f"{percent}: neither side of it is shown.",
    }
    sentence = (
        f"{k} of {n} passes failed: {shown[verdict]} (One-sided, {share * 100:g} % confidence.)"
    )
    if part < 1:
        sentence += f" Neighbouring passes are alike: the {n} count as {part * n:.2g}."
    if verdict == "not enough" and k <= _FAILURES_MAX:
        needed = _fewest_passes(limit, share, k)
        so_many = f"at most {k} failures" if k else "no failure"
        sentence += f" A new run of {needed} passes with {so_many} would pass."
    return RunVerdict(verdict, sentence, limit, share, k, n, lower, upper)


def _shows(limit: float, confidence: float, passes: int, failures: int) -> bool:
    """Would so few failures be rarer than 1 - confidence if the true rate were the limit?"""
    return bool(stats.binom.cdf(failures, passes, limit) <= 1 - confidence + _HAIR)


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
    return _check_rate("rate_limit", rate, 1e-6, 0.999)


def _check_rate(name: str, rate: float, low: float, high: float) -> float:
    number = isinstance(rate, Real) and not isinstance(rate, bool)
    if not (number and low <= rate <= high):
        raise InputError.one("acceptance", rate, f"a share from {low:g} to {high:g}", column=name)
    return float(rate)
