"""Rates with their intervals: how far a count of few can be from the truth.

Exact binomial, for trials that fail each alone. Tags of a pass share the load, the angle and the
hand that moved it and may fail together: for these `strategist.trust.by_pass` is the honest one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from numbers import Integral, Real
from typing import Literal

from strategist.errors import InputError
from strategist.survey.answer import Declared
from strategist.survey.late import special

Side = Literal["two-sided", "less", "greater"]

_KEPT = 10_000  # exact intervals: the same few counts come again and again


@dataclass(frozen=True)
class Rate(Declared):
    """`events` of `trials`, with a two-sided interval of the true rate.

    `rate` is None without trials: nothing is known, and the interval is 0 to 1. `effective_passes`
    is how many independent passes the interval counts, fewer than there are where neighbours are
    alike (None: the trials are no passes).
    """

    events: int
    trials: int
    rate: float | None
    low: float
    high: float
    confidence: float
    method: str
    effective_passes: float | None = None


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


def clopper_pearson(events: int, trials: int, confidence: float = 0.95, part: float = 1.0) -> Rate:
    """Exact binomial interval (Clopper and Pearson 1934): covers at least `confidence`.

    `part` (0 to 1) is the share of the trials that counts, where they are not independent.
    """
    k, n = check_counts(events, trials)
    share = check_confidence(confidence)
    if n == 0:
        return Rate(0, 0, None, 0.0, 1.0, share, "Clopper-Pearson")
    low, high = exact_ends(part * k, part * n, share)
    return Rate(k, n, k / n, low, high, share, "Clopper-Pearson")


@lru_cache(maxsize=_KEPT)
def exact_ends(
    events: float, trials: float, confidence: float, side: Side = "two-sided"
) -> tuple[float, float]:
    """Clopper and Pearson's ends, as quantiles of beta laws; `side` "less" has none below,
    "greater" none above. Counts need not be whole.

    scipy's `binomtest` finds the same by a search for roots that takes 5 ms.
    """
    tail = (1 - confidence) / 2 if side == "two-sided" else 1 - confidence
    low, high = 0.0, 1.0
    if side != "less" and events > 0:
        low = float(special.betaincinv(events, trials - events + 1, tail))
    if side != "greater" and events < trials:
        high = float(special.betainccinv(events + 1, trials - events, tail))
    return low, high


def upper_bound(events: int, trials: int, confidence: float = 0.95, part: float = 1.0) -> float:
    """One-sided exact upper bound of the true rate; 1 without trials. `part` as above."""
    k, n = check_counts(events, trials)
    share = check_confidence(confidence)
    if n == 0:
        return 1.0
    return exact_ends(part * k, part * n, share, "less")[1]


def lower_bound(events: int, trials: int, confidence: float = 0.95, part: float = 1.0) -> float:
    """One-sided exact lower bound of the true rate; 0 without trials. `part` as above."""
    k, n = check_counts(events, trials)
    share = check_confidence(confidence)
    if n == 0:
        return 0.0
    return exact_ends(part * k, part * n, share, "greater")[0]


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


def rate_sentence(
    events: int,
    trials: int,
    what: str = "missed",
    confidence: float = 0.95,
    part: float = 1.0,
) -> str:
    """The plain sentence: "0 missed in 60: the true rate may be up to 4.9 %".

    The bound is one-sided and exact, at `confidence`. For 0 events it is the rule of three made
    exact (Hanley and Lippman-Hand 1983). `part` below 1 is said.
    """
    bound = upper_bound(events, trials, confidence, part)
    if trials == 0:
        return f"No trials, so nothing is known of the rate of {what}."
    count = f"{events} {what} in {trials}"
    if part < 1:
        count += f" (neighbours are alike, they count as {part * trials:.2g})"
    return f"{count}: the true rate may be up to {percent_up(bound)}"
