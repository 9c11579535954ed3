"""A plan of measurements with its run sheet; and the first one, before anything was measured."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.radio.lawful import lawful_at, strictest_radio
from strategist.survey.answer import Declared
from strategist.survey.policy import Policy
from strategist.survey.records import Bools, Floats
from strategist.trust.acceptance import plan_acceptance
from strategist.trust.miss_rate_max import MISS_RATE_MAX

__all__ = [
    "Contender",
    "Effort",
    "LimitsKept",
    "Presentation",
    "Regret",
    "Stage",
    "SurveyPlan",
    "Verdict",
    "first_levels",
    "plan_first_survey",
    "rows_of",
    "total_minutes",
]  # fmt: skip

FIRST_DB = 7.0  # between levels of the first look: RSSI tells how far above turn-on a read was
PASSES_MAX = 2000  # of a survey that anybody would make
_RATE_MIN = 1e-6  # below which no number of passes is looked for
Stage = Literal["first", "next", "enough", "open"]
Verdict = Literal["kept", "exceeded", "open"]


@dataclass(frozen=True)
class Effort:
    """What measuring takes: to present a pass, and to listen at a level (our own guesses, no
    source)."""

    minutes_a_pass: float = 3.0
    seconds_a_level: float = 5.0

    @property
    def minutes_a_level(self) -> float:
        return self.seconds_a_level / 60


@dataclass(frozen=True)
class Presentation(Declared):
    """A row of the run sheet: present this pass at these levels. `settles` is the share of what is
    in doubt between the strategies that could still be best, 0 where nothing is known of the
    pass."""

    pass_id: str
    levels_dbm: tuple[float, ...]
    minutes: float
    settles: float


@dataclass(frozen=True)
class Contender(Declared):
    """A strategy that could still be best: in how many draws it is."""

    strategy: Strategy
    draws: int


@dataclass(frozen=True)
class Regret(Declared):
    """How much more than the best strategy looked at the one in hand loses if the passes surveyed
    come again, in the mean of `draws` surveys that may be, and at most at `confidence`. By the aim
    "survey" they come as they were, and reads fail anew; by "expected" with all that may vary from
    pass to pass. How other passes differ from these is not in it: no further level of these tells.
    """

    mean: float
    high: float
    confidence: float
    draws: int


@dataclass(frozen=True)
class LimitsKept(Declared):
    """Whether the hard limits of the policy will be kept: "kept" by the strategy in hand or
    "exceeded" by every strategy looked at where that is so at the plan's confidence, else "open".
    `kept` of `draws` surveys that may be have the limits kept by the strategy in hand, `exceeded`
    by no strategy looked at."""

    verdict: Verdict
    kept: int
    exceeded: int
    draws: int


@dataclass(frozen=True)
class SurveyPlan(Declared):
    """What to measure next, and whether that is worth it.

    `stage` is "first" while passes have no level tried, "next" while a measurement can change the
    choice by more than `within` (loss over the passes surveyed) or whether the hard limits are
    kept, "enough" when the strategy in hand is within that of the best and keeps the limits, or
    when none does, and "open" where time ended before that was known. `measured` of `pairs` of pass
    and level are tried.
    """

    read_point: str
    stage: Stage
    measured: int
    pairs: int
    within: float
    regret: Annotated[Regret | None, Field(description="null before there is a choice")]
    strategy: Annotated[Strategy | None, Field(description="in hand; null before there is one")]
    limits: Annotated[
        LimitsKept | None, Field(description="null where there are none, or no strategy")
    ]
    contenders: tuple[Contender, ...]
    minutes: float
    run_sheet: tuple[Presentation, ...]


def first_levels(levels_dbm: Floats, may: Bools) -> Bools:
    """The levels of the first look: evenly over those that may be chosen, both ends among them, at
    most `FIRST_DB` apart where the levels allow."""
    allowed = np.flatnonzero(may)
    power = levels_dbm[allowed]
    steps = max(1, math.ceil(round((power[-1] - power[0]) / FIRST_DB, 6)))
    wanted = np.linspace(power[0], power[-1], steps + 1)
    taken = np.abs(power[None, :] - wanted[:, None]).argmin(axis=1)
    found = np.zeros(len(levels_dbm), bool)
    found[allowed[taken]] = True
    return found


def plan_first_survey(
    policy: Policy,
    read_point: str,
    *,
    miss_rate_max: float | None = None,
    effort: Effort | None = None,
) -> SurveyPlan:
    """What to measure first at a read point of which nothing but its policy is known.

    As many passes as show the rate of passes with a miss (None: the limit of the policy, else 5 %)
    if none of them has one, each at few of the levels that are lawful and can be set. Raises
    InputError where the policy names no levels, where none of them may be used, and where the rate
    takes more than `PASSES_MAX` passes.
    """
    effort = effort or Effort()
    levels, may = _levels(policy, read_point)
    passes = _passes(policy, read_point, miss_rate_max)
    at = tuple(map(int, np.flatnonzero(first_levels(levels, may))))
    width = len(str(passes))
    names = [f"p{number:0{width}d}" for number in range(1, passes + 1)]
    rows = rows_of(names, levels, dict.fromkeys(range(passes), at), effort)
    return SurveyPlan(
        read_point, "first", 0, passes * len(levels), policy.loss.missed, None, None, None, (),
        total_minutes(rows), rows,
    )  # fmt: skip


def _levels(policy: Policy, read_point: str) -> tuple[Floats, Bools]:
    """The levels of a policy, and which of them may be used."""
    path = ("read_points", read_point, "levels_dbm")
    if policy.levels_dbm is None:
        raise InputError.one("site.json", "", "the levels to choose from", path=path)
    levels = np.array(policy.levels_dbm, float)
    above = lawful_at(levels, strictest_radio(policy)).levels_above_dbm
    settable = [policy.reader.can_set_level(one) for one in levels.tolist()]
    may = ~np.isin(levels, above) & np.array(settable, bool)
    if not may.any():
        wrong = "no level is lawful for the antenna and cable and can be set at the reader"
        todo = "Give one that is, or correct radio or reader.power_levels_dbm."
        raise InputError.one("site.json", "", todo, path=path, wrong=wrong)
    return levels, may


def _passes(policy: Policy, read_point: str, miss_rate_max: float | None) -> int:
    """How many passes show the rate of misses."""
    limit = policy.limits.missed_rate_max if miss_rate_max is None else miss_rate_max
    limit = limit if limit is not None and 0 < limit < 1 else MISS_RATE_MAX
    passes = plan_acceptance(max(limit, _RATE_MIN)).passes
    if passes > PASSES_MAX:
        path = ("read_points", read_point, "limits", "missed_rate_max")
        wrong = f"it takes more than {PASSES_MAX:,} passes to show a rate of {100 * limit:g} %"
        raise InputError.one("site.json", limit, "a higher rate", path=path, wrong=wrong)
    return passes


def rows_of(
    pass_ids: Sequence[str],
    levels_dbm: Floats,
    batch: Mapping[int, tuple[int, ...]],
    effort: Effort,
    settles: Mapping[int, float] | None = None,
) -> tuple[Presentation, ...]:
    """The run sheet of a batch: pass → levels, by their indices."""
    return tuple(
        Presentation(
            pass_ids[p],
            tuple(float(levels_dbm[level]) for level in levels),
            round(effort.minutes_a_pass + effort.minutes_a_level * len(levels), 2),
            round((settles or {}).get(p, 0.0), 4),
        )
        for p, levels in sorted(batch.items())
    )


def total_minutes(rows: tuple[Presentation, ...]) -> float:
    return round(sum(row.minutes for row in rows), 2)
