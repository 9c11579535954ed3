"""Which strategies could still be best at a read point that is surveyed in part.

What was not tried is drawn (`radio.possible`). A few such surveys are solved. From their bests the
walks of `nearby` go on, over all of `WALKED` draws together and over each: where they end are the
strategies that are looked at. Then these are held against each other in `DRAWS` more. Each draw is
presented in many copies (`survey.copies`): by the aim "survey" the same passes, whose reads fail
anew; by "expected" with all that may vary from pass to pass. Reads that fail by chance say nothing
of passes to come, and no measurement settles them, so that a loss here is a mean over copies: of
the same numbers in each draw, which leaves what differs between draws to what was not tried, and
of each draw's own for what is in the mean of all draws, which few copies would flatter by their
chance. The strategy in hand is the one that loses least in the mean of all draws, of those that
keep the hard limits in `CONFIDENCE` of them (of all, the one that exceeds them least in the mean,
where none does); its regret in a draw is what it loses there above the best of those looked at.

If what is true is as likely as any of the draws, its regret is as likely as theirs to have any rank
among all: above the jth least of n it is in n + 1 − j of n + 1 cases (exchangeability; a one-sided
prediction bound by order statistics: Wilks, Ann. Math. Stat. 12, 1941). The 57th of 59 gives 95 %.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from strategist.answers.nearby import Nearby
from strategist.answers.run_sheet import Verdict
from strategist.answers.solution import Options, Solution, solve
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy
from strategist.radio.lawful import choosable_levels
from strategist.radio.possible import Possible
from strategist.survey.copies import copies_for, peaks_of_copies
from strategist.survey.policy import InConditions, Policy
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, ReadPoint, Survey
from strategist.survey.score import scored
from strategist.survey.variation import Variation, variation_of
from strategist.trust.at_peaks import AtPeaks

__all__ = ["CONFIDENCE", "Contenders", "contenders_of"]

SOLVED, WALKED, DRAWS = 4, 10, 59
CONFIDENCE = 0.95
_PASSES = 6000  # of all copies of the draws that are walked over
_ALIKE = 600  # passes of the copies that are alike in all draws; half as many leave chance in
_OWN = 3  # copies of each draw's own
_COPIES = 1  # a stream of random numbers beside that of the draws
_LEAST = 1e-9  # variance, or excess over a limit, of what is alike but for rounding


@dataclass(frozen=True, eq=False)
class Contenders:
    """Strategies that may be chosen, in the order found, with what each misses and reports of
    strays in the mean in pass p of draw k (`missed[s, k, p]`, `stray[s, k, p]`) and its
    `excess[s, k]` over the hard limits; `possible` drew them."""

    policy: Policy
    possible: Possible
    strategies: tuple[Strategy, ...]
    missed: Floats
    stray: Floats
    excess: Floats

    @property
    def draws(self) -> int:
        return int(self.excess.shape[1])

    @property
    def _surely(self) -> int:
        """Of so many draws what holds in all of them holds at `CONFIDENCE`."""
        return min(self.draws, round(CONFIDENCE * (self.draws + 1)))

    @cached_property
    def loss(self) -> Floats:
        """Mean loss of each strategy in each draw and pass."""
        weights = self.policy.loss
        found: Floats = weights.missed * self.missed + weights.stray * self.stray
        return found

    @cached_property
    def keeps(self) -> Bools:
        """Whether a strategy keeps the hard limits in a draw: shape (strategies, draws)."""
        found: Bools = self.excess <= _LEAST
        return found

    @cached_property
    def hand(self) -> int:
        """The strategy in hand: of those that surely keep the limits, else of those that exceed
        them least in the mean, the one of least mean loss."""
        surely = self.keeps.sum(axis=1) >= self._surely
        over = np.where(surely, 0.0, self.excess.mean(axis=1) + _LEAST)
        return int(np.lexsort((self.loss.sum(axis=2).mean(axis=1), over))[0])

    @property
    def limits(self) -> Verdict:
        """Whether the strategy in hand keeps the hard limits: kept or exceeded where that is sure;
        exceeded where no strategy keeps them."""
        if self.keeps[self.hand].sum() >= self._surely:
            return "kept"
        return "exceeded" if self.beyond >= self._surely else "open"

    @property
    def beyond(self) -> int:
        """In how many draws no strategy keeps the limits."""
        return int((~self.keeps.any(axis=0)).sum())

    @cached_property
    def best(self) -> tuple[int, ...]:
        """Of each draw: least excess, then least loss; the one in hand where it is as good."""
        total, other = self.loss.sum(axis=2).round(9), np.arange(len(self.loss)) != self.hand
        over = np.where(self.keeps, 0.0, self.excess)
        every = [np.lexsort((other, total[:, k], over[:, k]))[0] for k in range(self.draws)]
        return tuple(map(int, every))

    @cached_property
    def regret(self) -> Floats:
        """What the strategy in hand loses in each draw above the best there, ≥ 0."""
        total = self.loss.sum(axis=2)
        apart = total[self.hand] - total[list(self.best), range(self.draws)]
        found: Floats = np.maximum(0.0, apart)
        return found

    @property
    def high(self) -> float:
        """What the regret is at most, at `CONFIDENCE`."""
        return float(np.sort(self.regret)[self._surely - 1])

    def others(self, few: float = 0.0) -> list[int]:
        """Those that are best in some draw, by more than `few` or by the limits."""
        matters = (self.regret > few) | ~self.keeps[self.hand]
        best = np.array(self.best)[matters].tolist()
        return sorted(set(best) - {self.hand})

    def doubt(self, others: Sequence[int]) -> tuple[Floats, Floats]:
        """What is not known by pass, and by pass and level the share of it that a look explains.

        A row for each of some others: the variance over the draws of how much more the strategy in
        hand loses. Then one for each of these strategies and each limit that it keeps in some draws
        alone: the variance of what the limit counts.

        What a level comes to by itself is held against that: the square of their correlation, by
        the strategy in hand or the other, whichever is more, less what chance makes of so many
        draws.
        """
        apart = self.loss[self.hand] - self.loss[list(others)]
        of = list(others)
        for one in (self.hand, *others):
            for counted in self._limited(one):
                apart, of = np.concatenate([apart, counted[None]]), [*of, one]
        apart = apart - apart.mean(axis=1, keepdims=True)
        doubt: Floats = (apart**2).mean(axis=1)
        rows_of = {one: [row for row, other in enumerate(of) if other == one] for one in others}
        share = self._explained(rows_of | {self.hand: list(range(len(of)))}, apart)
        chance = 1 / (self.draws - 1)
        return doubt, np.clip((share - chance) / (1 - chance), 0.0, 1.0) * ~self.possible.of.tried

    def _limited(self, number: int) -> Iterator[Floats]:
        """What the limits count by draw and pass, where that decides whether they are kept."""
        limits, wanted = self.policy.limits, int(self.possible.of.roster_wanted.sum())
        missed, stray = self.missed[number], self.stray[number]
        for counted, rate, most in (
            (missed, missed.sum(axis=1) / max(wanted, 1), limits.missed_rate_max),
            (stray, stray.mean(axis=1), limits.stray_rate_max),
        ):
            if most is not None and 0 < (rate <= most + _LEAST).sum() < self.draws:
                yield counted

    def _explained(self, rows_of: Mapping[int, list[int]], apart: Floats) -> Floats:
        """Squared correlation over the draws of differences (rows, draws, passes) of mean 0 with
        what each level comes to by a strategy, the largest of those that look at a row: shape
        (rows, passes, levels)."""
        survey, shape = self.possible.of, self.possible.of.tried.shape
        at = {one: AtPeaks(survey, self.policy, self.strategies[one]) for one in rows_of}
        sums = {one: np.zeros((2, *shape)) for one in rows_of}
        both = {one: np.zeros((len(rows), *shape)) for one, rows in rows_of.items()}
        for k in range(self.draws):
            heard = self.possible.heard(WALKED + k)
            for one, rows in rows_of.items():
                told = at[one].weighed(heard)
                both[one] += apart[rows, k, :, None] * told
                sums[one] += np.array([told, told**2])
        found = np.zeros((len(apart), *shape))
        for one, rows in rows_of.items():
            mean, square = sums[one] / self.draws
            of = (square - mean**2) * (apart[rows] ** 2).mean(axis=1)[:, :, None]
            share = np.where(of > _LEAST, (both[one] / self.draws) ** 2 / np.maximum(of, _LEAST), 0)
            found[rows] = np.maximum(found[rows], share)
        return found


def contenders_of(read_point: ReadPoint, options: Options) -> Contenders | None:
    """The strategies that may be best at a read point each of whose passes was tried at a level.

    Each pass counts once, and of several antennas the strongest read. None where the time of the
    options ends before all draws are looked at.
    """
    clock = Clock(options.total_limit_s or options.time_limit_s)
    policy = _plain(read_point.policy)
    heard_in_time = scored(read_point.survey, policy, None, policy.time.steps_s[-1])
    assert heard_in_time is not None  # no trims
    survey = heard_in_time.survey.each_once()
    possible = Possible(survey, (options.seed,))
    if survey.tried.all():
        best = _best(survey, policy, options, clock, None)
        missed, stray = AtPeaks(survey, policy, best.strategy).counted(peaks(survey)[None])
        excess = np.array([[best.rank[0]]])
        return Contenders(policy, possible, (best.strategy,), missed[None], stray[None], excess)
    drawn = _Drawn(possible, policy, options)
    strategies = drawn.looked_at(clock)
    if strategies is None:
        return None
    counted = drawn.counted(strategies, clock)
    if counted is None:
        return None
    at, (missed, stray) = drawn.near.at(strategies[0]), counted
    over = [
        at.over(missed[one, k][None], stray[one, k][None])
        for one in range(len(strategies))
        for k in range(DRAWS)
    ]
    excess = np.array(over).reshape(missed.shape[:2])
    return Contenders(policy, possible, strategies, missed, stray, excess)


class _Drawn:
    """Draws of a read point: solved, and heard many times over."""

    def __init__(self, possible: Possible, policy: Policy, options: Options) -> None:
        self.possible, self.policy, self.options = possible, policy, options
        passes = len(possible.of.pass_ids)
        self.times, self.alike = copies_for(passes), copies_for(passes, _ALIKE)
        self.walked = max(3, min(WALKED, _PASSES // (self.times * passes)))
        may = choosable_levels(possible.of, policy)
        self.near = Nearby(possible.of, policy, may)

    @cached_property
    def variation(self) -> Variation:
        found = variation_of(self.possible.survey(0))
        if self.policy.aim == "expected":
            return found
        return replace(found, link_db=0 * found.link_db, rssi_db=0 * found.rssi_db)

    def looked_at(self, clock: Clock) -> tuple[Strategy, ...] | None:
        """Strategies that may be best; None where the time ends."""
        found: dict[Strategy, None] = {}
        once = replace(self.policy, aim="survey")
        known: Strategy | None = None
        for k in range(SOLVED):
            if clock.left == 0:
                return None
            share = Clock(None if clock.left is None else clock.left / (2 * SOLVED - k))
            known = _best(self.possible.survey(k), once, self.options, share, known).strategy
            found[known] = None
        drawn = (self.possible.sure(k) for k in range(self.walked))
        together = np.concatenate(
            [self.heard(survey, k, self.times) for k, survey in enumerate(drawn)]
        )
        for one in list(found):
            if clock.left == 0:
                return None
            found[self.near.walk(one, together, self.walked)] = None
        start = min(found, key=lambda one: self.near.value(one, together, self.walked))
        for k in range(self.walked):
            if clock.left == 0:
                return None
            of_draw = together[k * self.times : (k + 1) * self.times]
            found[self.near.walk(start, of_draw)] = None
        return tuple(found)

    def counted(self, strategies: Sequence[Strategy], clock: Clock) -> Floats | None:
        """What each strategy misses, and reports of strays, in the mean in each draw and pass:
        shape (2, strategies, draws, passes); None where the time ends.

        How draws differ is told by copies of the same numbers; what is in the mean of all draws by
        copies of each draw's own, since few copies that are the same everywhere favour by their
        chance whatever was chosen over them (control variates).
        """
        looked_at = [self.near.at(one) for one in strategies]
        found = np.zeros((2, 2, len(looked_at), DRAWS, len(self.possible.of.pass_ids)))
        for k in range(DRAWS):
            drawn = self.possible.sure(WALKED + k)
            for stream, (numbers, times) in enumerate(((0, self.alike), (WALKED + k, _OWN))):
                if clock.left == 0:
                    return None
                heard = self.heard(drawn, numbers, times)
                for number, one in enumerate(looked_at):
                    for what, each in enumerate(one.counted(heard)):
                        found[stream, what, number, k] = each.mean(axis=0)
        same, own = found
        counted: Floats = same - same.mean(axis=2, keepdims=True) + own.mean(axis=2, keepdims=True)
        return counted

    def heard(self, drawn: Survey, numbers: int, times: int) -> Floats:
        """Peaks of a draw whose passes come so many times, by a stream of random numbers: shape
        (times, entries, levels)"""
        seed = (self.options.seed, _COPIES, numbers)
        return peaks_of_copies(drawn, self.variation, times, seed)


def _best(
    survey: Survey, policy: Policy, options: Options, clock: Clock, known: Strategy | None
) -> Solution:
    share = replace(options, time_limit_s=clock.left, total_limit_s=None, method="search")
    return solve(ReadPoint(survey, policy), share, known)


def _plain(policy: Policy) -> Policy:
    """The policy where each pass counts once and antennas are one."""
    allow = tuple(one for one in policy.allow if one != "antennas")
    return replace(policy, allow=allow, conditions=InConditions())
