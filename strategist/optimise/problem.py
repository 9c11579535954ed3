"""The choice at one read point, reduced to arrays: what may be chosen and what it would do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from strategist.optimise.guarded import guarded_peaks
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.optimise.walks import accepted_of, counts_of
from strategist.radio.dwell import steps_by_masks
from strategist.radio.lawful import choosable_levels
from strategist.survey.copies import Sample
from strategist.survey.kept import kept
from strategist.survey.policy import DECIMALS, Guard, Policy
from strategist.survey.profile import Profile, aggregate
from strategist.survey.records import Bools, Floats, Ints, Survey
from strategist.survey.score import Difference, Nth, Peak
from strategist.tags.candidates import Candidates, find_candidates, no_candidates
from strategist.tags.mask import Mask

__all__ = [
    "Answer",
    "Chain",
    "Counts",
    "Literal",
    "Problem",
    "answer_at",
    "candidates_of",
    "pose",
    "value",
]

_LEAST = float(np.finfo(float).min)  # no read is below it
_DIGITS = 6  # losses closer than this many decimals are the same loss


def value(loss: float) -> float:
    """A loss as it is compared: sums of the same weights in another order stay equal."""
    return round(loss, _DIGITS)


@dataclass(frozen=True, slots=True, order=True)
class Literal:
    """A candidate mask (by index), as it is or negated."""

    mask: int
    negate: bool


@dataclass(frozen=True)
class Chain:
    """Literals joined left to right; `joins[i]` ("and"/"or") stands before literal i+1."""

    literals: tuple[Literal, ...] = ()
    joins: tuple[str, ...] = ()

    @property
    def rank(self) -> tuple[int, tuple[Literal, ...]]:
        """What chains that are as good are told apart by: few negations, then the list of masks."""
        return sum(literal.negate for literal in self.literals), self.literals

    def without(self, place: int) -> Chain:
        """The chain without one of its literals; the join before it goes, too."""
        joins = (*self.joins[: max(0, place - 1)], *self.joins[max(place, 1) :])
        return Chain((*self.literals[:place], *self.literals[place + 1 :]), joins)


@dataclass(frozen=True, slots=True)
class Counts:
    """Wanted tags missed and stray tags reported, over all passes."""

    missed: int
    stray: int


@dataclass(frozen=True)
class Answer:
    """A strategy in indices of its problem, and what is proven of it.

    `key` is what strategies are compared by, least first: excess over hard limits, loss, guarded
    loss, masks, cutoff or none, steps, level indices from the top down, mask bits. `levels` are
    ascending. No strategy of the searched set has a lower (excess, loss) than `bound`; none with
    the excess and loss of this one has a lower guarded loss than `guarded_bound`. `effort` says in
    a few numbers what the proof took.
    """

    key: tuple[float, ...]
    chain: Chain
    cutoff: int
    levels: tuple[int, ...]
    counts: Counts
    bound: tuple[float, float] = (0.0, 0.0)
    guarded_bound: float = 0.0
    effort: tuple[tuple[str, int], ...] = ()

    @property
    def proven(self) -> bool:
        return self.bound >= self.key[:2]

    def bounded(
        self, still_open: tuple[float, float] | None, guarded_open: float | None, **effort: int
    ) -> Answer:
        """The answer with its bounds: its own values, or what is still open if that is lower."""
        own = (self.key[0], self.key[1])
        bound = own if still_open is None else min(own, still_open)
        guarded = self.key[2] if guarded_open is None else min(self.key[2], max(0.0, guarded_open))
        return replace(self, bound=bound, guarded_bound=guarded, effort=tuple(effort.items()))


@dataclass(frozen=True, eq=False)
class Problem:
    """One read point's whole choice.

    `profile` holds only the levels that may be chosen; `guarded` the same rows, with the RSSI that
    counts under the guards. A chain of k masks leaves a ladder at most `steps_by_masks[k]` steps:
    fewer for more masks where the dwell is short. `thresholds[c]` (dBm) is what a read must reach
    under cutoff index c; index 0 is −inf, no cutoff. Index c > 0 stands for every cutoff above
    `below[c]`, the next weaker RSSI value of either profile, up to the threshold; ranges without a
    cutoff that the reader can be set to are left out. `top_fixed`: the highest level must be the
    top step; `whole_ladder`: every level is a step. All RSSI is that of the `score` (None: the
    strongest read of all antennas); `step_s` is the dwell of a step where the policy leaves a
    choice.
    """

    profile: Profile
    guarded: Profile
    candidates: Candidates
    policy: Policy
    thresholds: Floats
    below: tuple[float, ...]
    steps_by_masks: tuple[int, ...]
    slots: int
    top_fixed: bool
    tuning: Tuning = DEFAULT
    score: Peak | Nth | Difference | None = None
    step_s: float | None = None
    whole_ladder: bool = False

    @property
    def steps_max(self) -> int:
        """The most steps of any ladder: those of the chain without masks."""
        return self.steps_by_masks[0]

    @cached_property
    def passes(self) -> int:
        return int(self.profile.pass_count.sum())

    @cached_property
    def row_weight(self) -> Ints:
        """Tags behind each row over all passes of its group, as they count to the loss."""
        profile = self.profile
        tags = profile.row_count if profile.row_cost is None else profile.row_cost
        weight: Ints = tags * profile.pass_count[profile.row_pass]
        return weight

    @cached_property
    def row_start(self) -> Ints:
        """Where the rows of each pass group begin, and where the last ends."""
        groups = np.arange(len(self.profile.pass_count) + 1)
        start: Ints = np.searchsorted(self.profile.row_pass, groups)
        return start

    @cached_property
    def _by_level(self) -> tuple[Floats, Ints, Ints]:
        """The RSSI of rows at each level: shape (levels, rows); their wanted and stray tags over
        all passes."""
        wanted = np.where(self.profile.row_wanted, self.row_weight, 0)
        return np.ascontiguousarray(self.profile.rssi.T), wanted, self.row_weight - wanted

    @cached_property
    def wanted(self) -> int:
        return int(self.row_weight[self.profile.row_wanted].sum())

    @cached_property
    def silence(self) -> tuple[float, float]:
        """Excess over the hard limits, and loss, where the read point reports nothing."""
        nothing = Counts(missed=self.wanted, stray=0)
        return self.excess(nothing), self.loss(nothing)

    @cached_property
    def outcomes(self) -> Ints:
        """One cutoff index for each outcome in the survey, the highest: those that lie between them
        differ from it under the guards alone."""
        rejected = np.searchsorted(np.unique(self.profile.rssi), self.thresholds)
        last: Ints = np.flatnonzero(np.diff(rejected, append=-1))
        return np.union1d([0], last)

    def alike(self, cutoff: int) -> range:
        """The cutoff indices with the outcome of one of `outcomes`."""
        place = int(np.searchsorted(self.outcomes, cutoff))
        return range(int(self.outcomes[place - 1]) + 1 if place else 0, cutoff + 1)

    def under_guard(self) -> Problem:
        """The same choice, replayed in the guarded profile."""
        return replace(self, profile=self.guarded)

    def accepted(self, cutoff: int) -> Bools:
        """Whether each row's reads pass the cutoff, at each level: shape (rows, levels)."""
        passes: Bools = self.profile.rssi >= max(self.thresholds[cutoff], _LEAST)
        return passes

    def loss(self, counts: Counts) -> float:
        weights = self.policy.loss
        return value(weights.missed * counts.missed + weights.stray * counts.stray)

    def excess(self, counts: Counts) -> float:
        """By how much the rates are above their limits, added up; 0 where the limits hold."""
        missed_rate = counts.missed / self.wanted if self.wanted else None
        over = self.policy.limits.excess(missed_rate, counts.stray / self.passes)
        return value(over)

    def selection(self, chain: Chain) -> Bools:
        """Which classes a chain lets through."""
        if not chain.literals:
            return np.ones(self.profile.classes, bool)
        tests = [self.candidates.matches[x.mask] != x.negate for x in chain.literals]
        through = tests[0]
        for join, test in zip(chain.joins, tests[1:], strict=True):
            through = through & test if join == "and" else through | test
        selected: Bools = through
        return selected

    def masks(self, chain: Chain) -> tuple[Mask, ...]:
        """The chain as masks of a strategy."""
        joins: tuple[str | None, ...] = (None, *chain.joins)[: len(chain.literals)]
        return tuple(
            Mask(m.bank, m.pointer, m.length, m.pattern, literal.negate, join)  # type: ignore[arg-type]
            for literal, join in zip(chain.literals, joins, strict=True)
            for m in (self.candidates.masks[literal.mask],)
        )

    def replay(self, levels: tuple[int, ...], cutoff: int, through: Bools) -> Counts:
        """What a ladder (ascending level indices) reports under a cutoff and a class selection."""
        counts = self.counts(np.array([levels[::-1]]), self.thresholds[cutoff], through)
        return Counts(*counts[0].tolist())

    def counts(
        self, ladders: Ints, least: float, through: Bools, stop_after: int | None = None
    ) -> Ints:
        """(missed, stray) of each ladder, where reads of `least` dBm and more (−inf: all) of the
        classes let through are accepted: shape (ladders, 2). Ladders are level indices from the
        top down, shape (ladders, steps); `stop_after` None: that of the policy."""
        rssi, wanted, stray = self._by_level
        if len(ladders) == 1:
            levels, places = ladders[0], np.arange(ladders.shape[1])[None]
        else:
            levels = np.flatnonzero(np.bincount(ladders.reshape(-1), minlength=len(rssi)))
            places = np.searchsorted(levels, ladders)
        least, row_class = max(least, _LEAST), self.profile.row_class
        accepted = accepted_of(rssi, levels, least, row_class, through)
        of_rows = self.row_start, self.profile.row_count, wanted, stray
        return counts_of(places, accepted, *of_rows, stop_after or self.policy.stop_after)


def answer_at(problem: Problem, chain: Chain, cutoff: int, levels: tuple[int, ...]) -> Answer:
    """The answer of a chain, a cutoff and a ladder, replayed; nothing is proven of it."""
    through = problem.selection(chain)
    counts = problem.replay(levels, cutoff, through)
    guarded = problem.loss(problem.under_guard().replay(levels, cutoff, through))
    masks = chain.literals
    bits = sum(problem.candidates.masks[literal.mask].length for literal in masks)
    rank = (guarded, len(masks), float(cutoff > 0), len(levels), *levels[::-1], bits)
    key = (problem.excess(counts), problem.loss(counts), *map(float, rank))
    return Answer(key, chain, cutoff, levels, counts)


def candidates_of(survey: Survey, policy: Policy) -> Candidates:
    """The masks to choose from."""
    if "masks" in policy.allow and policy.reader.mask_slots:
        return find_candidates(survey.tags, policy.reader, serial_masks=policy.serial_masks)
    return no_candidates(survey.tags)


def pose(
    survey: Survey,
    policy: Policy,
    tuning: Tuning = DEFAULT,
    *,
    candidates: Candidates | None = None,
    levels: Bools | None = None,
    sample: Sample | None = None,
    turns: int = 1,
) -> Problem:
    """The problem of a completely surveyed read point (no untried pairs) under its policy.

    `candidates` (None: those of the survey) and `levels` (None: those that are lawful and can be
    set) may be known. Other levels are left out, and so are cutoffs that the reader cannot be set
    to and ladders that may not fit the dwell. `sample` holds the passes to choose over where they
    are not those surveyed: of the same tags, at the same levels; cutoffs lie between its RSSI
    values. A step is so many `turns` of antennas. Raises InputError where nothing is left to choose
    from.
    """
    allow = policy.allow
    candidates = candidates or candidates_of(survey, policy)
    surveyed, drifted = _profiles_of(survey, candidates, policy.guard, sample)
    may_be = choosable_levels(survey, policy) if levels is None else levels
    if "power" not in allow and "ladder" not in allow:
        may_be = np.arange(len(may_be)) == np.flatnonzero(may_be).max()
    profile, guarded = surveyed.at_levels(may_be), drifted.at_levels(may_be)
    values = _rssi_values(profile.rssi, guarded.rssi, "cutoff" in allow)
    low, high = _settable(values[:-1], values[1:], policy.reader.rssi_step_db)
    steps = steps_by_masks(
        survey,
        policy.time,
        [(mask.pointer, mask.length) for mask in candidates.masks],
        policy.reader.mask_slots if candidates.masks else 0,
        policy.reader.ladder_steps_max if "ladder" in allow else 1,
        turns=turns,
    )
    return Problem(
        profile=profile,
        guarded=guarded,
        candidates=candidates,
        policy=policy,
        thresholds=np.concatenate([[-np.inf], high]),
        below=(-np.inf, *low.tolist()),
        steps_by_masks=steps,
        slots=len(steps) - 1,
        top_fixed="power" not in allow,
        tuning=tuning,
    )


def _profiles_of(
    survey: Survey, candidates: Candidates, guard: Guard, sample: Sample | None
) -> tuple[Profile, Profile]:
    if sample is None:
        return _profiles(survey, candidates, guard)
    drifted = guarded_peaks(sample.survey, guard)
    return aggregate(sample.survey, candidates.tag_class, drifted, sample.times, sample.free_below)


@kept
def _profiles(survey: Survey, candidates: Candidates, guard: Guard) -> tuple[Profile, Profile]:
    """The survey as it is, and under the guards."""
    return aggregate(survey, candidates.tag_class, guarded_peaks(survey, guard))


def _rssi_values(rssi: Floats, guarded: Floats, allowed: bool) -> Floats:
    """The RSSI values whose ranges in between are the cutoffs to search; none where not allowed.

    A cutoff at or below the weakest value in the survey changes nothing there; one above the
    strongest would silence the read point. Neither is searched. In between, the guarded loss may
    change at the values of the guarded profile.
    """
    values: Floats = np.unique(rssi[np.isfinite(rssi)]) if allowed else np.zeros(0)
    if not len(values):
        return values
    more = guarded[(guarded > values[0]) & (guarded < values[-1])]
    return np.unique(np.concatenate([values, more]))


def _settable(low: Floats, high: Floats, step_db: float | None) -> tuple[Floats, Floats]:
    """The ranges (low, high] that hold a multiple of the step; all without one."""
    if step_db is None:
        return low, high
    last = np.round(np.floor(np.round(high / step_db, DECIMALS)) * step_db, DECIMALS)
    return low[last > low], high[last > low]
