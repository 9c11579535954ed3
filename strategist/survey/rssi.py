"""What RSSI tells: how well it parts wanted from stray, and the offset between tag types."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strategist.survey.answer import Declared
from strategist.survey.profile import TurnOn
from strategist.survey.records import Bools, Floats, Survey

if TYPE_CHECKING:
    import numpy.typing as npt  # takes 10 ms to load

_WITHIN = 0.95  # of an interval
_APART = 1_000.0  # dB, more than any two reads differ by
_STEPS = 8  # of Newton's method, which doubles the digits
TAGS_OF_TYPE_MIN = 5  # fewer tags of a type than this give no offset


@dataclass(frozen=True)
class Area:
    """Area under the curve: chance that a wanted read is stronger than a stray one (ties half).

    0.5: RSSI tells nothing; 1: it parts them. `error` is the standard error of Hanley and McNeil
    1982 (NaN for an area pooled over levels), with `wanted` and `stray` reads.
    """

    area: float
    error: float
    wanted: int
    stray: int


def area(wanted: npt.ArrayLike, stray: npt.ArrayLike) -> Area:
    """The area for two samples of RSSI, neither empty (ValueError)."""
    strong: Floats = np.asarray(wanted, np.float64)
    weak: Floats = np.asarray(stray, np.float64)
    n, m = strong.size, weak.size
    if not n or not m:
        raise ValueError("both samples need a value")
    a = _wins(strong, weak) / (n * m)
    q1, q2 = a / (2 - a), 2 * a * a / (1 + a)
    variance = (a * (1 - a) + (n - 1) * (q1 - a * a) + (m - 1) * (q2 - a * a)) / (n * m)
    return Area(a, math.sqrt(max(variance, 0.0)), n, m)


def _wins(strong: Floats, weak: Floats) -> float:
    """U of Mann and Whitney: pairs in which the first is above, ties half; SciPy takes 80 times
    that."""
    ordered = np.sort(weak)
    below, not_above = (np.searchsorted(ordered, strong, side) for side in ("left", "right"))
    return float(below.sum() + not_above.sum()) / 2


def area_at_equal_level(survey: Survey, on: TurnOn, of: Bools | None = None) -> Area | None:
    """The area over pairs of a wanted and a stray tag that were read at the same level.

    `of` marks the roster entries to look at (None: all). None where no such pair exists.
    """
    roles = survey.roster_wanted, ~survey.roster_wanted
    if of is not None:
        roles = roles[0] & of, roles[1] & of
    heard = np.isfinite(on.peaks)
    apart = on.peaks + _APART * np.arange(on.peaks.shape[1])  # each level above all before it
    strong, weak = (apart[role][heard[role]] for role in roles)
    wanted, stray = (heard[role].sum(axis=0) for role in roles)  # at each level
    pairs = int(wanted @ stray)
    if not pairs:
        return None
    won = _wins(strong, weak) - int(wanted @ (np.cumsum(stray) - stray))
    reads = int(wanted[stray > 0].sum()), int(stray[wanted > 0].sum())
    return Area(won / pairs, math.nan, *reads)


@dataclass(frozen=True)
class TypeOffset(Declared):
    """RSSI of `tag_type` minus that of `reference` (the commonest type) at equal turn-on power.

    In dB, with a 95 % interval; `tags` and `reference_tags` are what it rests on.
    """

    tag_type: str
    reference: str
    offset_db: float
    low_db: float
    high_db: float
    tags: int
    reference_tags: int

    @property
    def real(self) -> bool:
        """Whether the interval leaves out 0."""
        return self.low_db > 0 or self.high_db < 0


def type_offsets(survey: Survey, on: TurnOn) -> tuple[TypeOffset, ...]:
    """The offsets of all types with enough tags against the commonest; empty with one type.

    Each tag counts once, by its mean over passes. A least-squares line of RSSI at turn-on against
    turn-on power, with one slope and an intercept for each type: the offset is the difference of
    intercepts, so types are compared as if they turned on at the same power.
    """
    entries = np.flatnonzero(on.level >= 0)
    tag = survey.roster_tag[entries]
    typed = np.array([one.tag_type is not None for one in survey.tags], bool)[tag]
    entries, tag = entries[typed], tag[typed]
    known_tags, first, row = np.unique(tag, return_index=True, return_inverse=True)
    sums = [
        np.bincount(row, value[entries]) / np.bincount(row)
        for value in (survey.levels_dbm[on.level], on.rssi)
    ]
    in_turn = np.argsort(first)
    types = [survey.tags[one].tag_type or "" for one in known_tags[in_turn]]
    count = Counter(types)
    known = [name for name, n in sorted(count.items()) if n >= TAGS_OF_TYPE_MIN]
    if len(known) < 2:
        return ()
    reference = max(known, key=lambda name: (count[name], name))
    means = np.column_stack(sums)[in_turn]
    return tuple(
        _offset(name, reference, means, np.array(types)) for name in known if name != reference
    )


def _offset(name: str, reference: str, means: Floats, types: npt.NDArray[np.str_]) -> TypeOffset:
    rows = (types == name) | (types == reference)
    power, rssi = means[rows].T
    own = types[rows] == name
    design = np.column_stack([np.ones(len(power)), own, power - power.mean()])
    solution, _, rank, _ = np.linalg.lstsq(design, rssi, rcond=None)
    rest = rssi - design @ solution
    freedom = max(1, len(rssi) - rank)
    covariance = np.linalg.pinv(design.T @ design) * float(rest @ rest) / freedom
    half = _student(int(freedom)) * math.sqrt(max(float(covariance[1, 1]), 0.0))
    offset = float(solution[1])
    return TypeOffset(
        name, reference, offset, offset - half, offset + half, int(own.sum()), int((~own).sum())
    )


def _student(freedom: int) -> float:
    """Within ± so much lie 95 % of Student's law.

    Abramowitz and Stegun 26.7.3 and 26.7.4: the share within ± √freedom · tan(angle) is a finite
    sum of powers of the cosine. Newton's method; scipy does the same and takes half a second to
    load.
    """
    ratio = math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2))
    angle = math.atan(2 / math.sqrt(freedom))
    for _ in range(_STEPS):
        cosine, odd = math.cos(angle), freedom % 2
        term, total = cosine if odd else 1.0, 0.0
        for power in range(2 + odd, freedom + 1, 2):
            total += term
            term *= cosine**2 * (power - 1) / power
        within = math.sin(angle) * total
        if odd:
            within = 2 / math.pi * (angle + within)
        slope = 2 * ratio / math.sqrt(math.pi) * cosine ** (freedom - 1)
        angle += (_WITHIN - within) / slope
    return math.sqrt(freedom) * math.tan(angle)
