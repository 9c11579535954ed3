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
- Where the strategy's score is a difference, both of its sides drift, apart: by 2 g.
- The mask chain is unchanged; a guarded read or score passes when, so shifted and rounded to six
  decimals, it is at or above the cutoff. The ladder walks and stops on what is accepted so.

With both guards 0 the guarded loss is the loss. It is no bound: it may be lower than the loss,
where a stray that was read at L was not read at the higher level, and drift that is smaller, or
goes the wrong way for some tags alone, may cost more (`trust.worst_case` finds the most).
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Flat, Hidden, told
from strategist.survey.policy import DECIMALS, GUARD_POWER_DB_MAX, GUARD_RSSI_DB_MAX, Guard, Policy
from strategist.survey.records import Bools, Floats, Survey
from strategist.tags.mask import accepted_by
from strategist.trust.evaluate import Outcome, replay, surveyed_steps
from strategist.trust.scores import (
    guard_times,
    reads_alone,
    refuse_unheard,
    scores_at,
    tried_with,
)

Way = Literal["down", "up"]
Role = Literal["wanted", "stray"]


@dataclass(frozen=True)
class StandIn(Declared):
    """A level beyond the surveyed range, asked for by the guard, and the end level in its place."""

    role: Role
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
    refuse_unheard(survey, strategy)
    steps = surveyed_steps(survey, strategy)
    tried, predicted, _ = tried_with(survey, strategy)
    wide = widened(survey, guard, predicted[:, steps])
    heard = _Heard(survey, policy, strategy)
    accepted: list[dict[int, set[int]]] = []
    stand_ins: list[StandIn] = []
    roles: tuple[tuple[Role, Way, float], ...] = (("wanted", "down", -1.0), ("stray", "up", 1.0))
    for index, level in zip(steps, strategy.levels_dbm, strict=True):
        step: dict[int, set[int]] = defaultdict(set)
        for (passes, usable, foreseen), (role, way, sign) in itertools.product(
            _alike(tried, predicted, index), roles
        ):
            here = wide if foreseen and wide is not None else guard
            asked = round(level + sign * here.power_db, DECIMALS)
            used, inside = level_at(survey.levels_dbm, asked, way, usable)
            if not inside:
                stand_ins.append(StandIn(role, asked, float(survey.levels_dbm[used])))
            heard.accept(used, passes, role, sign * here.rssi_db, step)
        accepted.append(step)
    outcome = replay(survey, policy, strategy, accepted)
    return GuardedOutcome(guard, wide, outcome, tuple(dict.fromkeys(stand_ins)))


def measured_levels(tried: Bools, predicted: Bools) -> Bools:
    """Which levels may stand for others, by pass: shape (passes, levels).

    Those that every pass was tried at and that were not predicted for this one; all of the former
    where none is left, and all levels where no level was tried in every pass.
    """
    whole: Bools = np.logical_and.reduce(tried, axis=0)
    if not whole.any():
        whole = np.ones_like(whole)
    usable: Bools = np.broadcast_to(whole, tried.shape)
    measured = usable & ~predicted
    some: Bools = np.logical_or.reduce(measured, axis=1)
    return np.where(some[:, None], measured, usable)


def predicted_pairs(survey: Survey) -> Bools:
    """Which (pass, level) pairs hold predicted reads."""
    return survey.tried & ~survey.measured


def _alike(tried: Bools, predicted: Bools, step: int) -> list[tuple[Bools, Bools, bool]]:
    """(passes, the levels that may stand for others in them, whether the step was predicted)."""
    table = np.column_stack([measured_levels(tried, predicted), predicted[:, step]])
    if len(table) and (table == table[:1]).all():  # as a rule
        return [(np.ones(len(table), bool), table[0, :-1], bool(table[0, -1]))]
    rows, which = np.unique(table, axis=0, return_inverse=True)
    which = which.reshape(-1)
    return [(which == number, row[:-1], bool(row[-1])) for number, row in enumerate(rows)]


def widened(survey: Survey, guard: Guard, predicted: Bools) -> Guard | None:
    """The guard at predicted steps; None where no pass has one."""
    errors = survey.predicted
    if errors is None or not predicted.any():
        return None
    power_db = round(guard.power_db + errors.turn_on_db, DECIMALS)
    rssi_db = round(guard.rssi_db + errors.rssi_db, DECIMALS)
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


class _Heard:
    """What a strategy holds against its cutoff, read by read: RSSI, or the score of a tag."""

    def __init__(self, survey: Survey, policy: Policy, strategy: Strategy) -> None:
        self.survey, self.policy, self.strategy = survey, policy, strategy
        self._through = accepted_by(strategy.masks, survey.tags)
        self._scores: dict[int, dict[tuple[int, int], float]] = {}
        self._of_wanted = _wanted_reads(survey)
        wanted = (survey.roster_pass, survey.roster_tag)
        columns = (column[survey.roster_wanted].tolist() for column in wanted)
        self._wanted = set(zip(*columns, strict=True))

    def accept(
        self, level: int, passes: Bools, role: Role, shift_db: float, step: dict[int, set[int]]
    ) -> None:
        """Add the tags of a role whose reads at a level, shifted, pass chain and cutoff."""
        strategy = self.strategy
        shift = guard_times(strategy) * shift_db
        shift = max(-GUARD_RSSI_DB_MAX, min(shift, GUARD_RSSI_DB_MAX))
        cutoff, enough = strategy.cutoff, dict[float, bool]()  # many reads have the same RSSI
        for number, tag, rssi in self._at(level, passes, role):
            if rssi not in enough:
                enough[rssi] = cutoff is None or round(rssi + shift, DECIMALS) >= cutoff
            if self._through[tag] and enough[rssi]:
                step[number].add(tag)

    def _at(self, level: int, passes: Bools, role: Role) -> Iterable[tuple[int, int, float]]:
        """(pass, tag, dBm or dB) of the reads or scores of a role."""
        survey, belongs = self.survey, role == "wanted"
        if reads_alone(survey, self.strategy):
            at = (survey.read_level == level) & passes[survey.read_pass]
            at &= self._of_wanted == belongs
            columns = (survey.read_pass, survey.read_tag, survey.read_rssi)
            return zip(*(column[at].tolist() for column in columns), strict=True)
        if level not in self._scores:
            self._scores[level] = scores_at(survey, self.policy, self.strategy, level)
        return [
            (number, tag, score)
            for (number, tag), score in self._scores[level].items()
            if passes[number] and ((number, tag) in self._wanted) == belongs
        ]


def _wanted_reads(survey: Survey) -> Bools:
    """For each read, whether its tag is wanted in its pass."""
    tags = len(survey.tags)
    wanted = survey.roster_wanted
    keys = survey.roster_pass[wanted] * tags + survey.roster_tag[wanted]
    return np.isin(survey.read_pass * tags + survey.read_tag, keys)
