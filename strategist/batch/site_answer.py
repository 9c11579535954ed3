"""The plan of a whole site, as it is told: what to set at each reader, what sharing costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Seconds, told

SAME = 1e-6  # losses no further apart are the same


@dataclass(frozen=True)
class OwnPart(Declared):
    """What the read points of a reader would lose with this part of their own, the rest shared:
    at most, where it is not `proven`."""

    part: str
    loss: float
    proven: bool


@dataclass(frozen=True)
class ReaderPlan(Declared):
    """A reader: what it and its read points come to, and what they would with nothing shared.

    `alone` is the least that its read points would lose with a setting of its own each, `own_parts`
    what they would with less shared, `saves` what the visit saves against reporting nothing,
    `price` that of the visit and of its options.
    """

    reader: str
    read_points: tuple[str, ...]
    shares: tuple[str, ...]
    loss: float
    alone: float
    saves: float
    price: float
    visited: bool
    own_parts: tuple[OwnPart, ...]

    @told(after="alone")
    def sharing_costs(self) -> float:
        return max(0.0, round(self.loss - self.alone, 6))


@dataclass(frozen=True)
class PointPlan(Declared):
    """What a read point gets: the number of its setting, from 1 (null: it reports nothing). Counts
    are of the passes surveyed, and they and losses those after the rules of the host."""

    read_point: str
    reader: str
    option: str | None
    setting: int | None
    missed: int
    stray: int
    loss: float
    survey_loss: Annotated[float, Field(description="In the passes surveyed, each once")]


@dataclass(frozen=True)
class HostRule(Declared):
    """Which of two reports of one tag in one pass the host discards.

    `in_force` false: no rule is better than none. `contested` counts the tags of passes that both
    read points heard at some level surveyed. `loss` is that of both under the rule, `loss_without`
    with the same settings and no rule. `threshold_db` is null where any difference is enough, and
    where no rule is in force; every threshold above `threshold_from_db` (null: any) up to
    `threshold_to_db` does the same in the survey.
    """

    name: str
    read_points: tuple[str, str]
    keep: Annotated[str, Field(description="stronger or facing")]
    facing: str | None
    in_force: bool
    threshold_db: float | None
    threshold_from_db: float | None
    threshold_to_db: float | None
    contested: int
    discarded_stray: int
    discarded_wanted: int
    loss: float
    loss_without: float
    price: float
    rule: Annotated[str, Field(description="What the host does, in words")]


@dataclass(frozen=True)
class OfSettings(Declared):
    """What the site loses with at most so many different settings."""

    at_most: int
    loss: float
    bound: float
    price: float


@dataclass(frozen=True)
class OfBudget(Declared):
    """What the site loses with so much money."""

    budget: float
    loss: float
    bound: float
    price: float


@dataclass(frozen=True)
class Buy(Declared):
    """What a visit, an option or a rule of the host (then `option` is its name) saves for its
    price, beside what is lost without."""

    kind: Annotated[str, Field(description="visit, option or rule")]
    reader: str
    read_point: str | None
    option: str | None
    price: float
    saves: float


@dataclass(frozen=True)
class SitePlan(Declared):
    """The plan of a site with at most so many settings and so much money (null: any).

    Losses are of what `aim` says: `survey`, the passes surveyed, each once; `expected`, as many
    passes to come, over copies of the survey; `both`, each read point's own of these. `survey_loss`
    is what the plan loses in the passes surveyed.
    No plan loses less than `bound`; none made of the strategies looked at less than `pool_bound`.
    `alone` is what the read points would lose with a setting of their own each and no budget.
    `order` are the visits, that which saves most for its price first. `without_rules` is the loss
    of the best plan, of the strategies looked at, in which the host discards nothing (null: no rule
    is asked for).
    """

    site: str
    at_most: int | None
    budget: float | None
    aim: Annotated[str, Field(description="survey, expected or both: what losses are of")]
    loss: float
    survey_loss: float
    bound: float
    pool_bound: float
    excess: Annotated[float, Field(description="Over the hard limits, summed; 0: all are kept")]
    proven: bool
    alone: float
    price: float
    settings: tuple[Strategy, ...]
    readers: tuple[ReaderPlan, ...]
    read_points: tuple[PointPlan, ...]
    rules: tuple[HostRule, ...]
    without_rules: float | None
    of_settings: tuple[OfSettings, ...]
    of_budget: tuple[OfBudget, ...]
    buys: tuple[Buy, ...]
    order: tuple[str, ...]
    notes: tuple[str, ...]
    seconds: Seconds

    @told(after="bound")
    def gap(self) -> float:
        """(loss − bound) ÷ loss; 0 where both are 0."""
        return (self.loss - self.bound) / self.loss if self.loss > self.bound + SAME else 0.0

    @told(after="alone")
    def sharing_costs(self) -> float:
        """What all that must agree costs, against each read point for itself; no rule of the host
        is in either."""
        loss = self.loss if self.without_rules is None else self.without_rules
        return max(0.0, round(loss - self.alone, 6))
