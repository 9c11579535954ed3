"""The guarded loss: what a strategy costs when every tag drifts the whole guard the wrong way.

The two guards (`guard.power_db` = d, `guard.rssi_db` = g) turn the reads of each (pass, tag):

- A tag that is wanted in the pass is tried, at a step of L dBm, at the largest surveyed level at
  or below L - d, and each of its reads there counts as g weaker. Where no surveyed level is so
  low, the lowest stands in.
- A tag that is stray in the pass is tried at the smallest surveyed level at or above L + d, and
  each of its reads there counts as g stronger. Where none is so high, the highest stands in.
- A level counts as surveyed when every pass was tried at it. Levels that the planner may not
  choose (`allow` without power and ladder) count too: they were measured.
- Only measured reads are looked at. At a step that was predicted for a pass, both guards are wider
  by the model's 95 % errors there (d + turn-on error, g + RSSI error), and the level that stands
  for it is one measured in that pass, where there is any.
- The mask chain is unchanged; a guarded read passes when its RSSI, so shifted and rounded to six
  decimals, is at or above the cutoff. The ladder walks and stops on what is accepted so.

With both guards 0 the guarded loss is the loss. It is no bound: it may be lower than the loss,
where a stray that was read at L was not read at the higher level, and drift that is smaller, or
goes the wrong way for some tags alone, may cost more (`trust.worst_case` finds the most).
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Flat, Hidden, told
from strategist.survey.policy import DECIMALS, GUARD_POWER_DB_MAX, GUARD_RSSI_DB_MAX, Guard, Policy
from strategist.survey.records import Bools, Floats, Survey
from strategist.tags.mask import chain_accepts
from strategist.trust.evaluate import Outcome, replay, surveyed_steps

Way = Literal["down", "up"]


@dataclass(frozen=True)
class StandIn(Declared):
    """A level beyond the surveyed range, asked for by the guard, and the end level in its place."""

    role: Literal["wanted", "stray"]
    asked_dbm: float
    used_dbm: float


@dataclass(frozen=True)
class GuardedOutcome(Declared):
    """The outcome under the guards, and where an end level stood in for one beyond the range.

    `predicted` is the guard at predicted steps, None where the strategy has none.
    """

    guard: Flat[Guard]
    predicted: Guard | None
    outcome: Hidden[Outcome]
    stand_ins: tuple[StandIn, ...]

    @told(after="outcome")
    def loss(self) -> float:
        return self.outcome.loss

    @told(after="outcome")
    def missed(self) -> int:
        return self.outcome.missed

    @told(after="outcome")
    def stray(self) -> int:
        return self.outcome.stray


def guarded_loss(survey: Survey, policy: Policy, strategy: Strategy) -> float:
    """The loss of `strategy` under the guards of the policy, from the raw reads."""
    return guarded_outcome(survey, policy, strategy).loss


def guarded_outcome(
    survey: Survey, policy: Policy, strategy: Strategy, guard: Guard | None = None
) -> GuardedOutcome:
    """What `strategy` would have reported under the guards (`guard` None: the policy's).

    Raises InputError where the strategy uses a level that was not surveyed.
    """
    guard = guard or policy.guard
    steps = surveyed_steps(survey, strategy)
    wide = widened(survey, guard, steps)
    accepted: list[dict[int, set[int]]] = []
    stand_ins: list[StandIn] = []
    wanted = _wanted_reads(survey)
    roles: tuple[tuple[Literal["wanted", "stray"], Way, Bools, float], ...] = (
        ("wanted", "down", wanted, -1.0),
        ("stray", "up", ~wanted, 1.0),
    )
    for index, level in zip(steps, strategy.levels_dbm, strict=True):
        step: dict[int, set[int]] = defaultdict(set)
        for (passes, usable, foreseen), (role, way, of_role, sign) in itertools.product(
            _alike(survey, index), roles
        ):
            here = wide if foreseen and wide is not None else guard
            asked = round(level + sign * here.power_db, DECIMALS)
            used, inside = level_at(survey.levels_dbm, asked, way, usable)
            if not inside:
                stand_ins.append(StandIn(role, asked, float(survey.levels_dbm[used])))
            at = of_role & (survey.read_level == used) & passes[survey.read_pass]
            _accept(survey, strategy, at, sign * here.rssi_db, step)
        accepted.append(step)
    outcome = replay(survey, policy, strategy, accepted)
    return GuardedOutcome(guard, wide, outcome, tuple(dict.fromkeys(stand_ins)))


def measured_levels(survey: Survey) -> Bools:
    """Which levels may stand for others, by pass: shape (passes, levels).

    Those that every pass was tried at and that were not predicted for this one; all of the former
    where none is left, and all levels where no level was tried in every pass.
    """
    whole: Bools = np.logical_and.reduce(survey.tried, axis=0)
    if not whole.any():
        whole = np.ones_like(whole)
    usable: Bools = np.broadcast_to(whole, survey.tried.shape)
    if survey.predicted is None:
        return usable
    measured = usable & ~survey.predicted.pairs
    some: Bools = np.logical_or.reduce(measured, axis=1)
    return np.where(some[:, None], measured, usable)


def _alike(survey: Survey, step: int) -> list[tuple[Bools, Bools, bool]]:
    """(passes, the levels that may stand for others in them, whether the step was predicted)."""
    usable = measured_levels(survey)
    foreseen = survey.tried[:, step] & ~survey.measured[:, step]
    rows, which = np.unique(np.column_stack([usable, foreseen]), axis=0, return_inverse=True)
    which = which.reshape(-1)
    return [(which == number, row[:-1], bool(row[-1])) for number, row in enumerate(rows)]


def widened(survey: Survey, guard: Guard, steps: Sequence[int]) -> Guard | None:
    """The guard at predicted steps; None where no pass has one."""
    predicted = survey.predicted
    if predicted is None or not predicted.pairs[:, steps].any():
        return None
    power_db = round(guard.power_db + predicted.turn_on_db, DECIMALS)
    rssi_db = round(guard.rssi_db + predicted.rssi_db, DECIMALS)
    return Guard(min(power_db, GUARD_POWER_DB_MAX), min(rssi_db, GUARD_RSSI_DB_MAX))


def level_at(
    levels_dbm: Floats, asked_dbm: float, way: Way, whole: Bools | None = None
) -> tuple[int, bool]:
    """Index of the surveyed level nearest `down` (at or below) or `up` (at or above) what is asked.

    The second value is False where the range ends before it and the end level stands in. `whole`
    marks the levels that may be used (None: all).
    """
    usable = np.arange(len(levels_dbm)) if whole is None else np.flatnonzero(whole)
    levels = np.round(levels_dbm[usable], DECIMALS)
    asked = round(asked_dbm, DECIMALS)
    if way == "down":
        place = int(np.searchsorted(levels, asked, "right")) - 1
        return int(usable[max(place, 0)]), place >= 0
    place = int(np.searchsorted(levels, asked, "left"))
    return int(usable[min(place, len(levels) - 1)]), place < len(levels)


def _wanted_reads(survey: Survey) -> Bools:
    """For each read, whether its tag is wanted in its pass."""
    tags = len(survey.tags)
    wanted = survey.roster_wanted
    keys = survey.roster_pass[wanted] * tags + survey.roster_tag[wanted]
    return np.isin(survey.read_pass * tags + survey.read_tag, keys)


def _accept(
    survey: Survey, strategy: Strategy, at: Bools, shift_db: float, step: dict[int, set[int]]
) -> None:
    """Add the tags of the reads `at`, shifted, that pass chain and cutoff."""
    through: dict[int, bool] = {}
    columns = (survey.read_pass, survey.read_tag, survey.read_rssi)
    for number, tag, rssi in zip(*(column[at].tolist() for column in columns), strict=True):
        if tag not in through:
            through[tag] = chain_accepts(strategy.masks, survey.tags[tag])
        shifted = round(rssi + shift_db, DECIMALS)
        if through[tag] and (strategy.cutoff_dbm is None or shifted >= strategy.cutoff_dbm):
            step[number].add(tag)
