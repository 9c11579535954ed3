"""Rates with their intervals: how far a count of few can be from the truth.

A missed tag counts per wanted tag presented, or per pass. Tags of a pass share the load, the
angle and the hand that moved it and may fail together; then `bootstrap_rate` is the honest one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from numbers import Integral, Real
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from strategist.errors import InputError

__all__ = [
    "Rate",
    "bootstrap_rate",
    "check_confidence",
    "check_counts",
    "clopper_pearson",
    "interval_words",
    "lower_bound",
    "percent",
    "percent_down",
    "percent_up",
    "rate_sentence",
    "upper_bound",
    "wilson",
]

Counts = Sequence[int] | npt.NDArray[np.int64]
Method = Literal["exact", "wilson", "wilsoncc"]
Side = Literal["two-sided", "less", "greater"]

_RESAMPLES = 2000
_KEPT = 10_000  # exact intervals: the same few counts come again and again
_AT_ONCE = 2_000_000  # cells of one batch of resamples: 16 MB


@dataclass(frozen=True)
class Rate:
    """`events` of `trials`, with a two-sided interval of the true rate.

    `rate` is None without trials: nothing is known, and the interval is 0 to 1.
    """

    events: int
    trials: int
    rate: float | None
    low: float
    high: float
    confidence: float
    method: str


def check_confidence(confidence: float) -> float:
    """The confidence as a float, 0.5 to 0.999999; InputError otherwise."""
    number = isinstance(confidence, Real) and not isinstance(confidence, bool)
    if not (number and 0.5 <= confidence <= 0.999999):
        raise InputError.one(
            "statistics", confidence, "a share from 0.5 to 0.999999", column="confidence"
        )
    return float(confidence)


def check_counts(
    events: int, trials: int, names: tuple[str, str] = ("events", "trials")
) -> tuple[int, int]:
    """Both counts as int, 0 <= events <= trials; InputError, by their `names`, otherwise."""
    for name, value, most in ((names[1], trials, 10**9), (names[0], events, trials)):
        whole = isinstance(value, Integral) and not isinstance(value, bool)
        if not (whole and 0 <= value <= most):
            allowed = f"a whole number from 0 to {most}"
            raise InputError.one("statistics", value, allowed, column=name)
    return int(events), int(trials)


def clopper_pearson(events: int, trials: int, confidence: float = 0.95) -> Rate:
    """Exact binomial interval (Clopper and Pearson 1934): covers at least `confidence`."""
    return _binomial(events, trials, confidence, "exact", "Clopper-Pearson")


def wilson(events: int, trials: int, confidence: float = 0.95, *, continuity: bool = False) -> Rate:
    """Score interval (Wilson 1927), with continuity correction if asked: covers on average."""
    if continuity:
        return _binomial(events, trials, confidence, "wilsoncc", "Wilson, continuity corrected")
    return _binomial(events, trials, confidence, "wilson", "Wilson")


def _binomial(
    events: int,
    trials: int,
    confidence: float,
    method: Method,
    label: str,
) -> Rate:
    k, n = check_counts(events, trials)
    share = check_confidence(confidence)
    if n == 0:
        return Rate(0, 0, None, 0.0, 1.0, share, label)
    low, high = _ends(k, n, share, method)
    return Rate(k, n, k / n, low, high, share, label)


@lru_cache(maxsize=_KEPT)
def _ends(
    events: int, trials: int, confidence: float, method: Method, side: Side = "two-sided"
) -> tuple[float, float]:
    """Both ends of a binomial interval; `side` "less" has none below, "greater" none above."""
    if method == "exact":
        return _exact_ends(events, trials, confidence, side)
    found = stats.binomtest(events, trials, alternative=side).proportion_ci(confidence, method)
    return float(found.low), float(found.high)


def _exact_ends(events: int, trials: int, confidence: float, side: Side) -> tuple[float, float]:
    """Clopper and Pearson's ends, as quantiles of beta laws.

    scipy's `binomtest` finds the same by a search for roots that takes 5 ms.
    """
    tail = (1 - confidence) / 2 if side == "two-sided" else 1 - confidence
    low, high = 0.0, 1.0
    if side != "less" and events > 0:
        low = float(special.betaincinv(events, trials - events + 1, tail))
    if side != "greater" and events < trials:
        high = float(special.betainccinv(events + 1, trials - events, tail))
    return low, high


def upper_bound(events: int, trials: int, confidence: float = 0.95) -> float:
    """One-sided exact upper bound of the true rate; 1 without trials."""
    k, n = check_counts(events, trials)
    share = check_confidence(confidence)
    if n == 0:
        return 1.0
    return _ends(k, n, share, "exact", "less")[1]


def lower_bound(events: int, trials: int, confidence: float = 0.95) -> float:
    """One-sided exact lower bound of the true rate; 0 without trials."""
    k, n = check_counts(events, trials)
    share = check_confidence(confidence)
    if n == 0:
        return 0.0
    return _ends(k, n, share, "exact", "greater")[0]


def percent_up(share: float) -> str:
    """A share as per cent, rounded up to two figures: 0.0487 is "4.9 %", 0.151 is "16 %"."""
    return _percent(share, math.ceil, -1e-9)


def percent_down(share: float) -> str:
    """The same rounded down: a lower bound must not say more than was shown."""
    return _percent(share, math.floor, 1e-9)


def percent(share: float) -> str:
    """The same rounded to the nearest: for a rate as it was counted."""
    return _percent(share, round, 0.0)


def _percent(share: float, towards: Callable[[float], int], hair: float) -> str:
    percent = 100 * share
    if percent <= 0:
        return "0 %"
    places = max(0, 1 - math.floor(math.log10(percent) + 1e-9))
    return f"{towards(percent * 10**places + hair) / 10**places:.{places}f} %"


def interval_words(rate: Rate) -> str:
    """The interval of a rate, rounded outward: "0.042 to 9.0 %"."""
    return f"{percent_down(rate.low).removesuffix(' %')} to {percent_up(rate.high)}"


def rate_sentence(events: int, trials: int, what: str = "missed", confidence: float = 0.95) -> str:
    """The plain sentence: "0 missed in 60: the true rate may be up to 4.9 %".

    The bound is one-sided and exact, at `confidence`. For 0 events it is the rule of three made
    exact (Hanley and Lippman-Hand 1983).
    """
    bound = upper_bound(events, trials, confidence)
    if trials == 0:
        return f"No trials, so nothing is known of the rate of {what}."
    return f"{events} {what} in {trials}: the true rate may be up to {percent_up(bound)}"


def bootstrap_rate(
    missed_by_pass: Counts,
    presented_by_pass: Counts,
    seed: int,
    confidence: float = 0.95,
    resamples: int = _RESAMPLES,
) -> Rate:
    """Rate of missed tags with an interval that lets the tags of a pass fail together.

    Both arguments count tags, one entry for each pass; passes that presented none are left out.
    Whole passes are drawn again with replacement to get the spread of the rate; the trials that
    an independent sample with that spread would have go into the exact interval (Korn and
    Graubard 1998, from memory). Plain percentiles of the bootstrap hold too little when few
    passes fail. Where there is no spread to draw from (no miss at all, say), each pass counts
    as one trial. The same seed gives the same answer.
    """
    missed, presented = _by_pass(missed_by_pass, presented_by_pass)
    share = check_confidence(confidence)
    label = "exact, effective trials from a bootstrap over passes"
    events, trials, passes = int(missed.sum()), int(presented.sum()), len(missed)
    if trials == 0:
        return Rate(0, 0, None, 0.0, 1.0, share, label)
    rate = events / trials
    effective = passes
    variance = _variance(missed, presented, seed, resamples)
    if variance > 0:
        # Fewer passes than tags carry the spread, so Student's t has fewer degrees of freedom.
        tail = (1 + share) / 2
        shrink = stats.t.ppf(tail, max(1, trials - 1)) / stats.t.ppf(tail, passes - 1)
        effective = math.floor(rate * (1 - rate) / variance * shrink**2)
    effective = max(1, min(trials, effective))
    fewest = math.floor(rate * effective + 1e-9)
    most = min(effective, math.ceil(rate * effective - 1e-9))
    low = clopper_pearson(fewest, effective, share).low
    high = clopper_pearson(most, effective, share).high
    return Rate(events, trials, rate, low, high, share, label)


def _by_pass(
    missed_by_pass: Counts, presented_by_pass: Counts
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Both counts of the passes that presented a tag; InputError for a bad one."""
    if len(missed_by_pass) != len(presented_by_pass):
        raise InputError.one(
            "statistics",
            len(missed_by_pass),
            f"one count for each of the {len(presented_by_pass)} passes",
            column="missed_by_pass",
        )
    names = ("missed_by_pass", "presented_by_pass")
    both = zip(missed_by_pass, presented_by_pass, strict=True)
    pairs = [check_counts(m, n, names) for m, n in both]
    counts = np.array([pair for pair in pairs if pair[1]], np.int64).reshape(-1, 2)
    return counts[:, 0], counts[:, 1]


def _variance(
    missed: npt.NDArray[np.int64], presented: npt.NDArray[np.int64], seed: int, resamples: int
) -> float:
    """Variance of the rate over resampled passes; 0 where one pass or equal passes allow none."""
    passes = len(missed)
    if not isinstance(resamples, Integral) or not 100 <= resamples <= 100_000:
        raise InputError.one(
            "statistics", resamples, "a whole number from 100 to 100000", column="resamples"
        )
    if passes < 2 or np.all(missed * presented.sum() == presented * missed.sum()):
        return 0.0
    generator = np.random.default_rng(seed)
    rates: list[npt.NDArray[np.float64]] = []
    batch = max(1, _AT_ONCE // passes)
    for start in range(0, resamples, batch):
        drawn = generator.integers(0, passes, (min(batch, resamples - start), passes))
        rates.append(missed[drawn].sum(axis=1) / presented[drawn].sum(axis=1))
    return float(np.concatenate(rates).var() * passes / (passes - 1))
