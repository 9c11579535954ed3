"""What is asked of a site, and what a plan of it is."""

from __future__ import annotations

from dataclasses import dataclass

from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.survey.site import SharedPart

__all__ = ["Alternative", "Plan", "Planned", "ReaderOf", "SiteProblem"]

_SAME = 1e-6


@dataclass(frozen=True, eq=False)
class Alternative:
    """A read point as surveyed, or with an option, without gaps.

    Its loss counts `scale` times (an option's survey may have other passes). `step_s` is what a
    ladder step takes with 0, 1, … masks (empty: not known). `nothing` is the (excess, loss) of the
    read point without the option where it reports nothing (None: its own).
    """

    option: str | None
    survey: Survey
    policy: Policy
    price: float = 0.0
    scale: float = 1.0
    step_s: tuple[float, ...] = ()
    nothing: tuple[float, float] | None = None

    @property
    def silence(self) -> tuple[float, float]:
        """Excess and loss where it reports nothing."""
        wanted = int(self.survey.roster_wanted.sum())
        excess = self.policy.limits.excess(1.0 if wanted else None, 0.0)
        return value(excess), value(self.policy.loss.missed * wanted)


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
class SiteProblem:
    """`points[p]` are the alternatives of each read point, as surveyed first; each is on a reader.
    Prices are of a visit to a reader and of a different setting."""

    names: tuple[str, ...]
    points: tuple[tuple[Alternative, ...], ...]
    readers: tuple[ReaderOf, ...]
    visit: float = 0.0
    setting: float = 0.0

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
    `bound`.
    """

    points: tuple[Planned, ...]
    excess: float
    loss: float
    bound: tuple[float, float]
    pool_bound: tuple[float, float]
    price: float
    settings: int

    @property
    def proven(self) -> bool:
        """Whether no plan at all is better."""
        return self.bound >= (self.excess, value(self.loss - _SAME))
