"""What is asked of a site, and what a plan of it is."""

from __future__ import annotations

from dataclasses import dataclass

from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.survey.records import Floats, Survey
from strategist.survey.site import SharedPart

__all__ = ["Alternative", "Pair", "Plan", "Planned", "ReaderOf", "Rule", "SiteProblem"]

_SAME = 1e-6


@dataclass(frozen=True, eq=False)
class Alternative:
    """A read point as surveyed, or with an option, without gaps.

    Its loss counts `scale` times (an option's survey may have other passes). `step_s` is what a
    ladder step takes with 0, 1, … masks (empty: not known). `nothing` is the (excess, loss) of the
    read point without the option where it reports nothing (None: its own). A rule of its pair may
    discard the report of roster entry e by reads below `free_below[e]` dBm (None: of none).
    """

    option: str | None
    survey: Survey
    policy: Policy
    price: float = 0.0
    scale: float = 1.0
    step_s: tuple[float, ...] = ()
    nothing: tuple[float, float] | None = None
    free_below: Floats | None = None

    @property
    def silence(self) -> tuple[float, float]:
        """Excess, and loss as it counts, where it reports nothing."""
        wanted = int(self.survey.roster_wanted.sum())
        excess = self.policy.limits.excess(1.0 if wanted else None, 0.0)
        return value(excess), value(self.scale * self.policy.loss.missed * wanted)


@dataclass(frozen=True)
class ReaderOf:
    """Read points (by number) on one reader, what they share, and how long its cycle may be."""

    name: str
    points: tuple[int, ...]
    shares: tuple[SharedPart, ...] = ()
    cycle_s: float | None = None

    @property
    def free(self) -> bool:
        """Whether its read points need not agree in anything."""
        return (len(self.points) < 2 or not self.shares) and self.cycle_s is None


@dataclass(frozen=True)
class Pair:
    """Two read points (by number) of whose reports of a tag in one pass one may be discarded: that
    of the weaker read, or, where one is `facing`, the other's. The price is that of having a
    rule."""

    name: str
    points: tuple[int, int]
    facing: int | None
    price: float


@dataclass(frozen=True)
class Rule:
    """A report is discarded where the other one's read is stronger by `threshold_db` or more (None:
    however weak it is). Thresholds above `low` and up to `high` do the same.

    `keys` are what both read points come to, (excess, loss) each; `discarded_wanted` and
    `discarded_stray` how many reports of each are discarded.
    """

    threshold_db: float | None
    low: float
    high: float
    keys: tuple[tuple[float, float], tuple[float, float]]
    discarded_wanted: tuple[int, int]
    discarded_stray: tuple[int, int]

    @property
    def key(self) -> tuple[float, float]:
        first, second = self.keys
        return value(first[0] + second[0]), value(first[1] + second[1])

    @property
    def width(self) -> float:
        """Of the range of thresholds that do the same (dB)."""
        return self.high - self.low


@dataclass(frozen=True)
class SiteProblem:
    """`points[p]` are the alternatives of each read point, as surveyed first; each is on a reader.
    Prices are of a visit to a reader and of a different setting. A read point is in one of the
    `pairs` at most."""

    names: tuple[str, ...]
    points: tuple[tuple[Alternative, ...], ...]
    readers: tuple[ReaderOf, ...]
    visit: float = 0.0
    setting: float = 0.0
    pairs: tuple[Pair, ...] = ()

    @property
    def reader(self) -> tuple[int, ...]:
        """The number of the reader of each read point."""
        of_point = {p: number for number, one in enumerate(self.readers) for p in one.points}
        return tuple(of_point[p] for p in range(len(self.points)))


@dataclass(frozen=True)
class Planned:
    """What a read point gets: an alternative (by number) and a strategy, None where it reports
    nothing; its excess over hard limits, and its loss as it counts."""

    alternative: int
    strategy: Strategy | None
    excess: float
    loss: float

    @property
    def key(self) -> tuple[float, float]:
        return self.excess, self.loss


@dataclass(frozen=True)
class Plan:
    """A choice for each read point, its summed excess and loss, what it costs, and how many
    different settings it has.

    No choice among the columns has less (excess, loss) than `pool_bound`, none at all less than
    `bound`. `rules` are those of the pairs (None: none), and read points are as they are after
    them.
    """

    points: tuple[Planned, ...]
    excess: float
    loss: float
    bound: tuple[float, float]
    pool_bound: tuple[float, float]
    price: float
    settings: int
    rules: tuple[Rule | None, ...] = ()

    @property
    def proven(self) -> bool:
        """Whether no plan at all is better."""
        return self.bound >= (self.excess, value(self.loss - _SAME))
