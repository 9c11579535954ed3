"""Own power and cutoff for each antenna, as one more part beside those of the shared powers.

What powers and cutoffs come to at one level for each antenna, with any mask chain, is proven.
Trims and offsets that say the same make a score, and the choice with that score is a part as any
other: its search adds ladders, whose steps all keep the trims, and looks for the cutoff that stands
the guards best. Over ladders with all trims and cutoffs a model (`own_ladders`) proves where reads
are few, boxes of them (`own_boxes`) where they are more; where neither closes, those with others
are not searched.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from strategist.errors import InputError
from strategist.optimise.archive import Bound
from strategist.optimise.clock import Clock
from strategist.optimise.own_boxes import prove_over_boxes
from strategist.optimise.own_heard import by_antenna, selections
from strategist.optimise.own_ladders import Trimmed, prove_own_ladders, terms
from strategist.optimise.own_model import Proven, prove_own_powers
from strategist.optimise.own_powers import OFF, ByAntenna, Own, settable_at_most
from strategist.optimise.problem import Answer, Problem, pose
from strategist.optimise.scores import Part, Parts, dwells_of
from strategist.radio.dwell import steps_by_masks, turns_by_masks, turns_of
from strategist.survey.policy import DECIMALS, SAME_DB, Policy
from strategist.survey.records import Bools, Survey
from strategist.survey.score import OFFSET_DB_MAX, Peak, in_time, scored

__all__ = ["OwnPowers", "is_own", "over_boxes", "with_own_powers"]

_TERMS_MAX = 1_500  # of the model of ladders: some seconds, and soon far more beyond


@dataclass(frozen=True, eq=False)
class AtDwell:
    """What was proven with one dwell of a step, at one level for each antenna; no mask chain that
    was not chosen from there loses less than `left_out` (inf: all were). `ladders` is what was
    proven over ladders with all trims and cutoffs (None: they were not searched); `settled` whether
    none of these can be better: there are no ladders, or nothing is lost. `here` is the choice."""

    here: _At
    proven: Proven
    left_out: float
    settled: bool = False
    ladders: Trimmed | None = None

    @property
    def at_one_level(self) -> Bound:
        """Excess and loss that no powers and cutoffs by antenna are below, at one level each."""
        bound = self.proven.bound
        return bound if self.left_out == np.inf else min(bound, (0.0, self.left_out))

    @property
    def bound(self) -> Bound:
        """The same of all that was searched, with ladders where these were."""
        if self.ladders is None or not self.ladders.proven:
            return self.at_one_level
        return min(self.at_one_level, self.ladders.bound)

    @property
    def all_ladders(self) -> bool:
        """Whether ladders with any trims and cutoffs by antenna were searched."""
        return self.settled or (self.ladders is not None and self.ladders.proven)


@dataclass(frozen=True, eq=False)
class OwnPowers:
    """What was proven of own powers and cutoffs, with each dwell of a step that may be chosen."""

    dwells: tuple[AtDwell, ...]

    @property
    def proven(self) -> Proven:
        """The best at one level for each antenna."""
        return min((one.proven for one in self.dwells), key=lambda proven: proven.key)

    @property
    def at_one_level(self) -> Bound:
        return min(one.at_one_level for one in self.dwells)

    @property
    def bound(self) -> Bound:
        return min(one.bound for one in self.dwells)

    @property
    def all_ladders(self) -> bool:
        return all(one.all_ladders for one in self.dwells)

    @property
    def _bound_of_ladders(self) -> float:
        """A loss that no ladder with own powers and cutoffs is below, whether searched or not."""
        known = (one.ladders.bound[1] if one.ladders else 0.0 for one in self.dwells)
        return min(known)

    def bounding(self, answer: Answer) -> Answer:
        """The best answer of all parts with a bound that holds for own powers, too.

        Own powers and cutoffs that tie with it may stand the guards better: nothing is proven
        there.
        """
        ties = self.bound <= answer.key[:2]
        return replace(
            answer,
            bound=min(answer.bound, self.bound),
            guarded_bound=0.0 if ties else answer.guarded_bound,
        )

    def to_json(self) -> dict[str, Any]:
        """What a result says of it."""
        effort: Counter[str] = Counter()
        for one in self.dwells:
            effort.update(dict(one.proven.effort))
            effort.update(dict(one.ladders.effort) if one.ladders else {})
        return {
            "loss_at_one_level": self.proven.key[1],
            "bound_at_one_level": self.at_one_level[1],
            "ladders": "all" if self.all_ladders else "shared_or_best_powers",
            **({"bound_of_ladders": self._bound_of_ladders} if not self.all_ladders else {}),
            **effort,
        }


def is_own(survey: Survey, policy: Policy) -> bool:
    """Whether each antenna may have its own power and cutoff, and there are several."""
    own = policy.reader.antenna_power == "own"
    return own and "antennas" in policy.allow and len(survey.antennas) > 1


def with_own_powers(
    parts: Parts, survey: Survey, policy: Policy, clock: Clock, seed: int = 0
) -> tuple[Parts, OwnPowers]:
    """The parts, and those with the trims and offsets of the best own powers and cutoffs: at one
    level each, and over ladders.

    None is added where no antenna is worth switching on, or where a part says the same already.
    """
    base = max((part.problem for part in parts.parts), key=lambda one: one.slots)
    dwells = dwells_of(survey, policy)
    through, left_out = selections(base, survey, clock)
    found: list[AtDwell] = []
    for number, step_s in enumerate(dwells):
        own = clock
        if clock.left is not None and len(dwells) > 1:
            own = Clock(clock.left / (len(dwells) - number), now=clock.now)
        try:
            here = _At(survey, policy, base, step_s, through)
        except InputError:
            continue  # no step of this dwell fits
        parts, one = here.searched(parts, left_out, own, seed)
        found.append(one)
    return parts, OwnPowers(tuple(found))


def over_boxes(own: OwnPowers, parts: Parts, best: Answer, clock: Clock) -> tuple[Parts, OwnPowers]:
    """The parts and what is proven, with ladders of own powers and cutoffs that the model did not
    prove, as far as boxes of them can be ruled out (`own_boxes`) in the time left.

    `best` is the best of the parts. None are looked at where the level may not be chosen.
    """
    dwells = list(own.dwells)
    if best.key[:2] == (0.0, 0.0):
        return parts, OwnPowers(tuple(replace(one, settled=True) for one in dwells))
    for number, one in enumerate(dwells):
        if not one.all_ladders and "power" in one.here.policy.allow:
            left = clock.left
            part = clock if left is None else Clock(left / (len(dwells) - number), now=clock.now)
            parts, dwells[number] = one.here.over_boxes(parts, one, best, part)
    return parts, OwnPowers(tuple(dwells))


class _At:
    """The choice with one dwell of a step: what antennas hear in it, and the steps that fit.

    Where masks make a step longer, as many antennas may have a turn as do without any: bounds then
    hold, and what is chosen is one of the parts, with the steps that fit.
    """

    def __init__(
        self, survey: Survey, policy: Policy, base: Problem, step_s: float | None, through: Bools
    ) -> None:
        self.survey = survey
        self.chosen = step_s if isinstance(policy.time.step_s, tuple) else None
        self.policy = replace(policy, time=policy.time.listening(step_s))
        self.heard = in_time(survey, self.policy.time.steps_s[-1])
        fields = [(mask.pointer, mask.length) for mask in base.candidates.masks]
        turns = turns_by_masks(survey, self.policy.time, fields, base.slots)
        most = policy.reader.ladder_steps_max if "ladder" in policy.allow else 1
        steps = steps_by_masks(survey, self.policy.time, fields, base.slots, most)
        self.base = replace(base, steps_by_masks=steps, slots=min(base.slots, len(steps) - 1))
        self.turns = turns[0] if turns and policy.time.in_turn else None
        self.problem = by_antenna(self.heard, self.policy, self.base, through)
        self.problem = replace(self.problem, on_max=self.turns)

    def searched(
        self, parts: Parts, left_out: float, clock: Clock, seed: int
    ) -> tuple[Parts, AtDwell]:
        """The parts with those of the best own powers and cutoffs, and what is proven of them."""
        problem = self.problem
        proven = prove_own_powers(problem, clock, seed)
        settled = self.base.steps_max == 1 or proven.key[:2] == (0.0, 0.0)
        found = AtDwell(self, proven, left_out, settled)
        parts = self._with(parts, _score(problem, proven.own, self.heard, self.policy))
        if settled or not self._few():
            return parts, found
        trimmed = prove_own_ladders(
            self.base, problem, self.heard, clock, seed=seed, turns=self.turns
        )
        if trimmed.on:
            parts = self._with(parts, _peak(problem, trimmed.on, self.heard, self.policy))
        return parts, replace(found, ladders=trimmed if trimmed.proven else None)

    def over_boxes(
        self, parts: Parts, one: AtDwell, best: Answer, clock: Clock
    ) -> tuple[Parts, AtDwell]:
        """The same where reads are many, by boxes of trims and cutoffs, against the best of all
        parts."""
        trimmed = prove_over_boxes(
            self.base,
            self.problem,
            self.heard,
            clock,
            beat=(best.key[0], best.key[1]),
            turns=self.turns,
        )
        if trimmed.on:
            parts = self._with(parts, _peak(self.problem, trimmed.on, self.heard, self.policy))
        return parts, replace(one, ladders=trimmed)

    def _few(self) -> bool:
        """Whether the model of ladders is small enough, and says all that may be chosen."""
        base, of_reads = self.base, terms(self.problem, self.heard)
        of_masks = base.slots * base.profile.classes * len(base.candidates.masks)
        small = of_reads > 0 and of_reads * (1 + base.slots) + of_masks <= _TERMS_MAX
        return small and "power" in self.policy.allow

    def _with(self, parts: Parts, score: Peak | None) -> Parts:
        """The parts with that of a score, where none says the same."""
        posed = (part.problem for part in parts.parts)
        if score is None or any((x.score, x.step_s) == (score, self.chosen) for x in posed):
            return parts
        more = self._part(len(parts.parts), score)
        return replace(parts, parts=(*parts.parts, more), scores=parts.scores + 1)

    def _part(self, index: int, score: Peak) -> Part:
        """The choice with the score: levels, ladder, cutoff and masks."""
        survey, step_s = self.survey, self.policy.time.steps_s[-1]
        heard = scored(survey, self.policy, score, step_s)
        assert heard is not None  # at the level that the trims were taken at
        may = np.ones(len(heard.survey.levels_dbm), bool)
        for antenna in score.antennas or ():
            asked = heard.survey.levels_dbm + dict(score.trim_db).get(antenna, 0.0)
            allowed = survey.levels_dbm[self.problem.allowed[survey.antennas.index(antenna)]]
            may &= (np.abs(np.subtract.outer(asked, allowed)) < SAME_DB).any(axis=1)
        posed = pose(
            *(heard.survey, heard.policy, self.base.tuning),
            candidates=self.base.candidates,
            levels=may,
            turns=turns_of(survey, self.policy.time, score),
        )
        posed = replace(posed, score=score, step_s=self.chosen)
        words = len(score.trim_db) + len(score.offset_db)
        off = len(survey.antennas) - len(score.antennas or ())
        return Part((0.0, float(words), float(off), self.chosen or 0.0), index, posed)


def _score(problem: ByAntenna, own: Own, survey: Survey, policy: Policy) -> Peak | None:
    """The score that says the same: each antenna's level as its trim below the highest. None where
    all are off."""
    on = [place for place, level in enumerate(own.level) if level != OFF]
    if not on:
        return None
    dbm = survey.levels_dbm[[own.level[place] for place in on]]
    trims = np.round(dbm - dbm.max(), DECIMALS).tolist()
    columns = {place: (trim, own.cutoff[place]) for place, trim in zip(on, trims, strict=True)}
    return _peak(problem, columns, survey, policy)


def _peak(
    problem: ByAntenna, on: Mapping[int, tuple[float, float]], survey: Survey, policy: Policy
) -> Peak:
    """The score of antennas that are on, with their trims and cutoffs: each cutoff as its offset
    from that of the first that has one.

    An antenna without a cutoff beside others gets one below all that it hears, under the guards,
    too.
    """
    cutoffs = np.array([cutoff for _, cutoff in on.values()])
    offsets = np.zeros(len(on))
    if np.isfinite(cutoffs).any():
        first = cutoffs[np.isfinite(cutoffs)][0]
        for number, place in enumerate(on):
            if not np.isfinite(cutoffs[number]):
                cutoffs[number] = _below_all(problem, place, policy)
        offsets = np.round(cutoffs - first, DECIMALS).clip(-OFFSET_DB_MAX, OFFSET_DB_MAX)
    antennas = [survey.antennas[place] for place in on]
    return Peak(
        antennas=tuple(antennas),
        trim_db=_pairs(antennas, [trim for trim, _ in on.values()]),
        offset_db=_pairs(antennas, offsets.tolist()),
    )


def _pairs(antennas: Sequence[int], db: Sequence[float]) -> tuple[tuple[int, float], ...]:
    return tuple((a, one) for a, one in zip(antennas, db, strict=True) if one)


def _below_all(problem: ByAntenna, place: int, policy: Policy) -> float:
    heard = np.concatenate([problem.rssi[:, place], problem.guarded[:, place]])
    weakest = heard[np.isfinite(heard)].min(keepdims=True)
    return float(settable_at_most(weakest, policy.reader.rssi_step_db)[0])
