"""The worst case of drift: the most that a strategy can lose while all drift stays in the guards.

The guarded loss lets every tag drift the whole guard the wrong way. That need not be the worst: a
ladder that a wanted tag still stops early is spared the strays above. Here each presentation (a tag
in a pass) drifts by any amount of power from −d to d and of RSSI from −g to g, each its own way,
the same at every step of the ladder, and the worst of all combinations is found, exactly:

- Power that drifts by p has the tag tried, at a step of L dBm, at the largest surveyed level at or
  below L + p where p < 0, at the smallest at or above L + p where p > 0, and at L where p = 0; end
  levels stand in, as for the guarded loss (`trust.guarded`, which also says which levels count).
- At a step that was predicted for the pass, the model's error comes on top, its own at each.

Of a presentation only the step counts at which it is first accepted, if at any; which steps that
may be follows from finitely many drifts, since levels are few. A pass then ends at one of its
steps, and for each end the worst choice is a matter of counting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared
from strategist.survey.policy import DECIMALS, Guard, Policy
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, Survey
from strategist.tags.mask import accepted_by
from strategist.trust.evaluate import surveyed_steps
from strategist.trust.guarded import level_at, measured_levels, predicted_pairs, widened

EARLY, NOW, LATE = 4, 2, 1  # bits: what a presentation may be, seen from the step where a pass ends


@dataclass(frozen=True)
class WorstCase(Declared):
    """The most that drift within the guards can cost: its loss, and the counts behind it."""

    loss: float
    missed: int
    stray: int


def worst_case(
    survey: Survey, policy: Policy, strategy: Strategy, guard: Guard | None = None
) -> WorstCase:
    """The worst case of `strategy` within the guards (`guard` None: the policy's).

    It is never below the loss, nor below the guarded loss. Raises InputError where the strategy
    uses a level that was not surveyed.
    """
    guard = guard or policy.guard
    steps = surveyed_steps(survey, strategy)
    first = _first_accepted(survey, strategy, steps, guard)
    counts = np.array(
        [_worst_ends(survey, policy, strategy, first, end) for end in range(len(steps))]
    )
    losses = policy.loss.missed * counts[:, 0] + policy.loss.stray * counts[:, 1]
    worst = losses.argmax(axis=0)
    at_worst = np.take_along_axis(counts, worst[None, None, :], axis=0)[0].sum(axis=1)
    missed, stray = (int(count) for count in at_worst)
    return WorstCase(policy.loss.missed * missed + policy.loss.stray * stray, missed, stray)


def _first_accepted(
    survey: Survey, strategy: Strategy, steps: Sequence[int], guard: Guard
) -> Bools:
    """Whether some drift lets a roster entry be first accepted at a step: shape (entries, steps +
    1), the last column for never."""
    found = np.nan_to_num(peaks(survey), nan=-np.inf, neginf=-np.inf)
    predicted_at = predicted_pairs(survey)
    usable, foreseen = measured_levels(survey.tried, predicted_at), predicted_at[:, steps]
    wide = widened(survey, guard, foreseen) or guard
    may: Bools = np.zeros((len(found), len(steps) + 1), bool)
    rows, which = np.unique(np.column_stack([usable, foreseen]), axis=0, return_inverse=True)
    for number, row in enumerate(rows):
        here = (which.reshape(-1) == number)[survey.roster_pass]
        levels, predicted = row[: usable.shape[1]], row[usable.shape[1] :]
        extra = np.where(predicted, wide.power_db - guard.power_db, 0.0)
        for drift in _drifts(survey, steps, guard.power_db, extra):
            seen = [
                found[here][:, _tried(survey, step, drift, more, levels)]
                for step, more in zip(steps, extra.tolist(), strict=True)
            ]
            more_rssi = np.where(predicted, wide.rssi_db - guard.rssi_db, 0.0)
            low = np.column_stack([one.min(axis=1) for one in seen]) - more_rssi
            high = np.column_stack([one.max(axis=1) for one in seen]) + more_rssi
            may[here] |= _steps_first(low, high, strategy.cutoff, guard.rssi_db)
    through = np.array(accepted_by(strategy.masks, survey.tags), bool)
    shut = ~through[survey.roster_tag]
    may[shut] = False
    may[shut, -1] = True
    return may


def _drifts(survey: Survey, steps: Sequence[int], power_db: float, extra: Floats) -> list[float]:
    """Drifts of power that stand for all of them: each that brings a step to a surveyed level, the
    ends, none, and one between any two neighbours."""
    apart = survey.levels_dbm[None, :] - survey.levels_dbm[list(steps)][:, None]
    turns = np.concatenate([apart - extra[:, None], apart + extra[:, None]]).reshape(-1)
    inside = turns[np.abs(turns) < power_db]
    ends = np.unique(np.round([-power_db, 0.0, power_db, *inside], DECIMALS))
    return sorted({*ends.tolist(), *((ends[1:] + ends[:-1]) / 2).tolist()})


def _tried(survey: Survey, step: int, drift: float, extra: float, usable: Bools) -> Ints:
    """The level indices at which a step may have been tried, with `extra` dB of further error."""
    level = float(survey.levels_dbm[step])
    ends = [_level(survey, step, level, drift + more, usable) for more in (-extra, extra)]
    if extra == 0:
        return np.array(ends[:1])
    between = np.arange(ends[0], ends[1] + 1)
    own = [step] if drift - extra <= 0 <= drift + extra else []
    return np.unique([*between[usable[between]], *ends, *own])


def _level(survey: Survey, step: int, level: float, drift: float, usable: Bools) -> int:
    if abs(drift) < 10.0**-DECIMALS / 2:
        return step
    return level_at(survey.levels_dbm, level + drift, "down" if drift < 0 else "up", usable)[0]


def _steps_first(low: Floats, high: Floats, cutoff: float | None, rssi_db: float) -> Bools:
    """At which steps RSSI drift lets a tag be first accepted; shape as `_first_accepted`.

    `low` and `high` are the weakest and strongest peak at each step (−inf: not read), with the
    drift of RSSI, the same at all steps, still to come.
    """
    before = np.maximum.accumulate(low, axis=1)
    before = np.column_stack([np.full(len(low), -np.inf), before])  # the strongest to be rejected
    now = np.column_stack([high, np.full(len(high), np.inf)])  # never: nothing to be accepted
    if cutoff is None:
        return ~np.isneginf(now) & np.isneginf(before)
    least = np.maximum(-rssi_db, cutoff - now)  # the least drift that lets it be accepted
    accepted = np.round(least, DECIMALS) <= rssi_db
    return accepted & (np.round(before + np.minimum(least, rssi_db), DECIMALS) < cutoff)


def _worst_ends(
    survey: Survey, policy: Policy, strategy: Strategy, first: Bools, end: int
) -> Floats:
    """Missed and stray at worst in each pass that ends at step `end`: shape (2, passes).

    A pass that cannot end there counts −inf of either. Let `stop` be the tags that stop a ladder:
    fewer than that may have been accepted before the end, and at least so many with it (but at the
    last step). A wanted tag had best be accepted late, a stray early or now; a stray that can be
    so only early takes one of the places before the end. Where too few are accepted, wanted tags
    have to be, first those that can be now.
    """
    kind = (
        EARLY * first[:, :end].any(axis=1)
        + NOW * first[:, end]
        + LATE * first[:, end + 1 :].any(axis=1)
    )
    passes, stop = len(survey.pass_ids), strategy.stop_after
    table = np.zeros((2, 8, passes), np.int64)
    np.add.at(table, (survey.roster_wanted.astype(int), kind, survey.roster_pass), 1)
    stray, wanted = table
    both = stray + wanted
    room = stop - 1 - both[EARLY]  # places before the end, less those that must be there
    early = np.clip(stray[EARLY | LATE], 0, np.maximum(room, 0))
    strays = stray[EARLY] + stray[NOW] + stray[EARLY | NOW] + stray[NOW | LATE] + stray[7] + early
    found = wanted[EARLY] + wanted[NOW] + wanted[EARLY | NOW]
    lacking = np.maximum(0, stop - strays - found)
    if end == first.shape[1] - 2:
        lacking[:] = 0  # the last step ends the ladder anyway
    spare = np.minimum(np.maximum(room - early, 0), wanted[EARLY | LATE])
    possible = (room >= 0) & (lacking <= wanted[NOW | LATE] + wanted[7] + spare)
    missed = wanted.sum(axis=0) - found - lacking
    return np.where(possible, np.array([missed, strays], float), -np.inf)
