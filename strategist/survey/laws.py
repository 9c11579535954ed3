"""Shares and quantiles of laws of chance: normal, beta, and by it Student's, F and the binomial.

scipy has them, too, and takes a quarter of a second to load, half of one with its tests; these are
held against it (`tests/survey/test_laws.py`). The beta law is a continued fraction (Lentz's method,
from memory) times a factor by Loader's deviances (2000, from memory), which keep their digits where
counts are large. Quantiles are found by Newton's method on the log odds, held between bounds.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from strategist.machine.code import compiled, inner

__all__ = [
    "beta_quantile",
    "beta_share",
    "beta_upper_quantile",
    "binomial_at_most",
    "f_quantile",
    "normal_shares",
    "student_quantile",
]

Floats = npt.NDArray[np.float64]

_TINY = 1e-300
_TERMS = 100_000
_NEWTON = 200
_FAR = 745.0  # log odds beyond which a share is 0 or 1
_HALF_LOG_2PI = 0.9189385332046727
_SAME = 4e-16


def normal_shares(values: Floats) -> Floats:
    """The share of the standard normal law that lies below each value, of any shape."""
    flat = np.ascontiguousarray(values, float).reshape(-1)
    found = np.empty(len(flat))
    _normal_shares(flat, found)
    return found.reshape(np.shape(values))


@compiled
def _normal_shares(values: Floats, found: Floats) -> None:
    for i in range(len(values)):
        found[i] = math.erfc(-values[i] * 0.7071067811865476) / 2


def beta_share(a: float, b: float, x: float) -> float:
    """The share of the beta law (a, b > 0) at or below x."""
    return _share(a, b, x, 1 - x)


def beta_quantile(a: float, b: float, share: float) -> float:
    """Below which x a share of the beta law (a, b > 0) lies."""
    return _quantile(a, b, share)[0]


def beta_upper_quantile(a: float, b: float, share: float) -> float:
    """Above which x a share of the beta law (a, b > 0) lies."""
    return _quantile(b, a, share)[1]


def student_quantile(freedom: float, share: float) -> float:
    """Below which value a share, at least a half, of Student's law lies."""
    within, rest = _quantile(0.5, freedom / 2, 2 * share - 1)
    return math.sqrt(freedom * within / rest)


def f_quantile(above: float, below: float, share: float) -> float:
    """Below which value a share of the F law lies, with so many degrees of freedom."""
    x, rest = _quantile(above / 2, below / 2, share)
    return below / above * x / rest


def binomial_at_most(events: int, trials: int, chance: float) -> float:
    """The chance of at most so many events in some trials."""
    if events >= trials:
        return 1.0
    return _share(trials - events, events + 1, 1 - chance, chance)


@compiled
def _share(a: float, b: float, x: float, rest: float) -> float:
    """`beta_share`; `rest` is 1 − x, told apart since it may be small, too."""
    if x <= 0:
        return 0.0
    if rest <= 0:
        return 1.0
    if x * (a + b + 2) <= a + 1:
        return _front(a, b, x, rest) * _fraction(a, b, x) / a
    return 1 - _front(b, a, rest, x) * _fraction(b, a, rest) / b


@inner
def _fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of the beta law: it converges soon where x is below the mean."""
    c, d = 1.0, 1 - (a + b) * x / (a + 1)
    d = 1 / d if abs(d) > _TINY else 1 / _TINY
    found = d
    for m in range(1, _TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d = 1 + even * d
        c = 1 + even / c
        d = 1 / d if abs(d) > _TINY else 1 / _TINY
        c = c if abs(c) > _TINY else _TINY
        found *= d * c
        d = 1 + odd * d
        c = 1 + odd / c
        d = 1 / d if abs(d) > _TINY else 1 / _TINY
        c = c if abs(c) > _TINY else _TINY
        found *= d * c
        if abs(d * c - 1) < _SAME:
            break
    return found


@inner
def _front(a: float, b: float, x: float, rest: float) -> float:
    """x^a (1 − x)^b / B(a, b), which is the density of the beta law along the log odds of x."""
    both = a + b
    off = _stirling(both) - _stirling(a) - _stirling(b)
    far = _deviance(a, both * x) + _deviance(b, both * rest)
    return math.exp(off - far - _HALF_LOG_2PI) * math.sqrt(a * b / both)


@inner
def _stirling(n: float) -> float:
    """By how much log Γ(n + 1) is above Stirling's formula."""
    if n < 15:
        return math.lgamma(n + 1) - (n + 0.5) * math.log(n) + n - _HALF_LOG_2PI
    of = 1 / (n * n)
    return (1 / 12 - (1 / 360 - (1 / 1260 - (1 / 1680 - of / 1188) * of) * of) * of) / n


@inner
def _deviance(n: float, mean: float) -> float:
    """n log(n ÷ mean) + mean − n, with all its digits where the two are near."""
    if abs(n - mean) >= 0.1 * (n + mean):
        return n * math.log(n / mean) + mean - n
    part = (n - mean) / (n + mean)
    found, term = (n - mean) * part, 2 * n * part
    for j in range(1, 1000):
        term *= part * part
        more = found + term / (2 * j + 1)
        if more == found:
            break
        found = more
    return found


@compiled
def _quantile(a: float, b: float, share: float) -> tuple[float, float]:
    """(x, 1 − x) of `beta_quantile`."""
    if share <= 0:
        return 0.0, 1.0
    if share >= 1:
        return 1.0, 0.0
    low, high = -_FAR, _FAR
    odds = math.log(a / b)
    x, rest = 0.5, 0.5
    for _ in range(_NEWTON):
        small = math.exp(-abs(odds))
        x = 1 / (1 + small) if odds >= 0 else small / (1 + small)
        rest = small / (1 + small) if odds >= 0 else 1 / (1 + small)
        below = x * (a + b + 2) <= a + 1
        front = _front(a, b, x, rest)
        if below:
            found = front * _fraction(a, b, x) / a
            wrong = found - share
        else:
            found = front * _fraction(b, a, rest) / b
            wrong = (1 - share) - found
        if wrong > 0:
            high = odds
        else:
            low = odds
        # by the logarithm of the smaller side, which is nearly straight far out
        goal = share if below else 1 - share
        step = 0.0
        if front > 0 and found > 0:
            step = found * math.log(found / goal) / front
            step = -step if below else step
        moved = odds + step
        if not low < moved < high or (step == 0.0 and wrong != 0):
            moved = (low + high) / 2
        if abs(moved - odds) <= _SAME * max(1.0, abs(odds)):
            break
        odds = moved
    return x, rest
