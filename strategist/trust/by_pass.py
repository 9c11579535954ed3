"""Intervals of sums over passes: wanted tags missed, strays reported.

Passes are the independent units; tags within one may fail together. An exact binomial limit is the
quantile of a beta law that has the mean and the variance of the sample with one trial more, the
worst that may be (upper limit) or the best (lower), all weighed at random. The same is done here
with passes: the weights follow a Dirichlet law, as in Gaffke's limit for the mean of any law on a
known range (2005, from memory), and a beta law is fitted to the mean and variance of the ratio.
Where each pass counts 0 or 1 this is Clopper and Pearson's interval to the last digit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strategist.errors import InputError
from strategist.survey.late import special
from strategist.survey.records import Floats, Ints
from strategist.trust.intervals import (
    Rate,
    check_confidence,
    check_counts,
    clopper_pearson,
    exact_ends,
)

Counts = Sequence[int] | Ints

_GUESSED = 2.0  # numbers of strays as spread as an exponential law, beside those seen
_LARGE = 4.0  # loads from a quarter of the largest on say what may happen to the largest
_MISSED = "by pass: the wider of effective trials (jackknife) and one pass more (beta)"
_STRAY = "by pass: one pass more, at the most strays there may be (beta), or bursts (F)"


def missed_rate(
    missed_by_pass: Counts,
    presented_by_pass: Counts,
    confidence: float = 0.95,
    part: float = 1.0,
) -> Rate:
    """Rate of missed tags, with an interval that lets the tags of a pass fail together.

    Both arguments count tags, one entry for each pass; passes that presented none are left out.
    The interval is the wider, at each end, of two. One counts the trials that independent tags
    with the spread of the rate over passes would have (Korn and Graubard 1998, from memory; spread
    by jackknife, cut for few passes by Student's t). The other adds one pass, of the largest load
    that there may be, in which as large a share fails as in any large load, and one tag more; all
    of it where none failed. The first alone holds too little where large loads fail more and are
    few. `part` (0 to 1) is the share of passes that counts, where neighbours are alike.
    """
    missed, presented = _by_pass(missed_by_pass, presented_by_pass)
    share, events, trials = check_confidence(confidence), int(missed.sum()), int(presented.sum())
    passes = len(missed)
    if trials == passes:  # at most one tag a pass
        rate = clopper_pearson(events, trials, share, part)
    else:
        most = _most(presented)
        tail = (1 - share) / 2
        kept = presented - missed
        low, high = _effective(missed, presented, share, part)
        best, worst = most - _worst(kept, presented), _worst(missed, presented)
        low = min(low, _limit(missed, presented, (best, most), tail, part))
        high = max(high, _limit(missed, presented, (worst, most), 1 - tail, part))
        rate = Rate(events, trials, events / trials, low, high, share, _MISSED)
    return replace(rate, effective_passes=part * passes)


def stray_count(
    stray_by_pass: Counts,
    presented_by_pass: Counts,
    confidence: float = 0.95,
    part: float = 1.0,
) -> Rate:
    """Strays reported per pass, with an interval for any law of strays a pass.

    Nothing is assumed of how many come and how they are reported, but that no pass reports more
    than the most there may be: twice the largest number presented in the survey less the second
    largest (Robson and Whitlock 1964, from memory), so the same number where all present alike,
    and at least 1. No interval can hold without such a range: bursts larger and rarer than the
    survey has met stay unknown. The upper limit adds one pass that reports so many. Where the
    numbers presented differ, or came once, that range is a guess and few passes may carry all that
    was seen: the limit then is no lower than `_of_bursts`. Arguments as `missed_rate`, one entry
    for each pass.
    """
    stray, presented = _checked(stray_by_pass, presented_by_pass)
    share, passes = check_confidence(confidence), len(stray)
    if passes == 0:
        return Rate(0, 0, None, 0.0, math.inf, share, _STRAY)
    most = max(1.0, _most(presented))
    sizes = np.full(passes, most)
    tail = (1 - share) / 2
    low = most * _limit(stray, sizes, (0.0, most), tail, part)
    high = most * _limit(stray, sizes, (most, most), 1 - tail, part)
    if not _alike(presented):
        high = max(high, _of_bursts(stray, 1 - tail, part))
    events = int(stray.sum())
    rate = events / passes
    return Rate(events, passes, rate, low, high, share, _STRAY, part * passes)


def _checked(events_by_pass: Counts, presented_by_pass: Counts) -> tuple[Floats, Floats]:
    """Both counts of each pass; InputError for a bad one."""
    if len(events_by_pass) != len(presented_by_pass):
        allowed = f"one count for each of the {len(presented_by_pass)} passes"
        given, wrong = len(events_by_pass), f"{len(events_by_pass)} counts are given"
        raise InputError.one("statistics", given, allowed, column="events_by_pass", wrong=wrong)
    names = ("events_by_pass", "presented_by_pass")
    both = zip(events_by_pass, presented_by_pass, strict=True)
    pairs = np.array([check_counts(m, n, names) for m, n in both], float).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _by_pass(events_by_pass: Counts, presented_by_pass: Counts) -> tuple[Floats, Floats]:
    """The counts of the passes that presented a tag."""
    events, presented = _checked(events_by_pass, presented_by_pass)
    return events[presented > 0], presented[presented > 0]


def _most(presented: Floats) -> float:
    """The largest number that a pass may present, seen or not."""
    second, first = np.sort(np.append(presented, 0.0))[-2:]
    return float(2 * first - second)


def _alike(presented: Floats) -> bool:
    """Whether the same number, if any, was presented in two passes or more."""
    there = presented[presented > 0]
    return len(there) > 1 and float(np.ptp(there)) == 0


def _worst(events: Floats, presented: Floats) -> float:
    """How many of the largest load may fail together: the share of any large load that has, one
    tag more counted in, or all where none has."""
    most = _most(presented)
    if not events.any():
        return most
    large = presented >= min(most / _LARGE, presented.max())
    return most * min(1.0, float(((events + 1) / presented)[large].max()))


def _limit(
    events: Floats, sizes: Floats, more: tuple[float, float], at: float, part: float
) -> float:
    """The quantile `at` of the ratio of sums under random weights, with one pass `more` (its events
    and its size)."""
    weights = np.append(np.full(len(events), part), 1.0)
    counted, sized = np.append(events, more[0]), np.append(sizes, more[1])
    whole = weights.sum()
    size = weights @ sized / whole
    ratio = float(weights @ counted / whole / size)
    variance = float(weights @ np.square(counted - ratio * sized) / whole / size**2 / (whole + 1))
    if not 0 < ratio < 1 or variance < 1e-15:
        return ratio
    both = max(ratio * (1 - ratio) / variance - 1, 1e-3)
    return float(special.betaincinv(ratio * both, (1 - ratio) * both, at))


def _of_bursts(events: Floats, at: float, part: float) -> float:
    """The quantile `at` of the share of passes with any event times the mean number in such a pass.

    The share has the beta law of Clopper and Pearson's upper end, taken as a gamma law of the same
    mean and spread; the mean that of numbers with a gamma law (for an exponential one it is exact),
    of the spread seen, two numbers as spread as an exponential law counted in. Their ratio has an
    F law.
    """
    some = events[events > 0]
    if not len(some):
        return 0.0
    with_any, passes, mean = part * len(some), part * len(events), float(some.mean())
    spread = float(np.square(some / mean - 1).sum() + _GUESSED) / (len(some) - 1 + _GUESSED)
    of_share = (passes - with_any) / ((with_any + 1) * (passes + 2))
    ratio = special.fdtri(2 / max(of_share, 1e-9), 2 * with_any / spread, at)
    return mean * (with_any + 1) / (passes + 1) * float(ratio)


def _effective(
    missed: Floats, presented: Floats, confidence: float, part: float
) -> tuple[float, float]:
    """Exact ends with as many trials as independent tags with the same spread would have.

    Where there is no spread to go by (no miss at all, say), each pass counts as one trial.
    """
    passes, trials = len(missed), presented.sum()
    rate = missed.sum() / trials
    effective = part * passes
    variance = _jackknife(missed, presented) / part
    if variance > 1e-15:
        # Fewer passes than tags carry the spread, so Student's t has fewer degrees of freedom.
        tail = (1 + confidence) / 2
        free = max(1.0, part * passes - 1)
        shrink = special.stdtrit(trials - 1, tail) / special.stdtrit(free, tail)
        effective = rate * (1 - rate) / variance * shrink**2
    effective = max(1.0, min(part * trials, effective))
    return exact_ends(rate * effective, effective, confidence)


def _jackknife(missed: Floats, presented: Floats) -> float:
    """Variance of the rate, leaving out each pass in turn; 0 for a single pass."""
    passes = len(missed)
    if passes < 2:
        return 0.0
    without = (missed.sum() - missed) / (presented.sum() - presented)
    return float((passes - 1) * without.var())
