"""The whole choice as one mixed-integer model: levels, ladder, stop rule, cutoff and mask chain.

Variables, with r a row of the profile, p its pass group, k its class, l a level, i an RSSI value:

    y[l]           level l is a step of the ladder
    w[i]           reads of value i pass the cutoff
    x[s, j]        slot s of the chain holds literal j
    either[s]      slot s is joined by "or"
    hit[s, k]      class k passes the literal of slot s
    through[s, k]  class k passes slots 0 … s
    going[p, l]    pass p has not stopped by level l; stop[p, l] = going[p, l−1] − going[p, l]
    f[r, l]        r is first reported at l; where one tag stops the walk, so is all else at l

A pass stops at one level at most, and what it reports hangs on that level:

    stop[p, l] ≤ y[l]                                       it stops at a step
    f[r, l] ≤ stop[p, l],  Σ_r f[r, l] ≥ stop[p, l]         and reports something there
    going[p, l] ≤ 3 − y[l] − through[k] − w[i]              it goes on past what it accepts nowhere
    f[r, l] ≥ stop[p, l] + through[k] + w[i] − 2            all that is accepted there is reported
    Σ_l f[r, l] ≤ through[k],  Σ (f[r, l] : value ≤ i) ≤ w[i]     and nothing else is

with i the value of r at l. Once the cutoff and the chain are whole numbers only y is left, and each
pass is a location problem with an order: the relaxation is near the truth there. (The same
with each step weighed by itself, accepted ≥ y + going + through + w − 3, is as true and lets all
strays go for nothing: a fifth of each of five steps.) With `stop_after` n above 1 the union of what
steps report is counted, and the two rows that tie stops to tags are

    Σ_r n_r Σ_{l' ≤ l} f[r, l'] ≥ n · stop[p, l],
    Σ_r n_r Σ_{l' ≤ l} f[r, l'] ≤ n − 1 + (Σ_r n_r − n + 1) (1 − going[p, l]).

The passes come into the model twice: as surveyed, and, once the loss is proven, with the RSSI that
counts under the guards, for the guarded loss.

With y, w, x and either whole numbers (and going, where more than one tag stops the walk) all the
others follow. Readability is data: any pattern of reads over the levels is allowed, monotonic or
not.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.model_walk import Reads, Walks, binary, share
from strategist.optimise.problem import Answer, Chain, Literal, Problem, answer_at
from strategist.optimise.pulp_late import pulp
from strategist.survey.profile import Profile
from strategist.survey.records import Ints

__all__ = ["Model"]

_LEVELS_AT_ONCE = 10  # levels weighed in one objective: 2^10 stays far from the tolerances
_HELD = 1e-4  # by how much an objective may exceed its best once held: well above tolerances


class Model:
    """The PuLP model of a problem, and the way back from its variables to a strategy.

    Building it raises OutOfTimeError where the clock runs out.
    """

    def __init__(self, problem: Problem, clock: Clock) -> None:
        self._begin(problem, clock)
        self._reported = self._walk(problem.profile, 0, 0)

    def _begin(self, problem: Problem, clock: Clock) -> None:
        """Steps, cutoff and mask chain."""
        self.problem = problem
        self.clock = clock
        self.mip = pulp.LpProblem("read_point", pulp.LpMinimize)
        self.y = [binary("y", level) for level in range(len(problem.profile.levels_dbm))]
        self.x = [
            [binary("x", s, j) for j in range(2 * len(problem.candidates.masks))]
            for s in range(problem.slots)
        ]
        self.either = [binary("either", s) for s in range(problem.slots)]
        self._ladder()
        self._passing = self._cutoff()
        self._through = self._chain()
        self._order_of_literals()

    def _walk(self, profile: Profile, rows: int, passes: int) -> list[pulp.LpAffineExpression]:
        """Whether each row is reported; their numbers, and the passes', begin at those given."""
        stop_after = self.problem.policy.stop_after
        walks = Walks(self.mip, self.y, self._through, stop_after, self.clock)
        return walks.walk(profile, self._reads(profile), rows, passes)

    def _reads(self, profile: Profile) -> Reads:
        """What the cutoff lets pass: w[i], with the value i of each row at each level."""
        value = np.searchsorted(self.problem.thresholds, profile.rssi, "right") - 1
        return Reads(lambda r, level: self._passing[int(value[r, level])], value)

    def _ladder(self) -> None:
        """1 ≤ Σ y ≤ most steps; where power is not free the highest level is a step.

        Each slot s of the chain that is used takes the steps that chains of s + 1 masks have less
        than those of s.
        """
        most = self.problem.steps_by_masks
        less = [most[s] - most[s + 1] for s in range(self.problem.slots)]
        taken = pulp.lpSum(n * x for n, slot in zip(less, self.x, strict=True) for x in slot if n)
        self.mip += pulp.lpSum(self.y) >= 1
        self.mip += pulp.lpSum(self.y) + taken <= most[0]
        if self.problem.top_fixed:
            self.mip += self.y[-1] == 1

    def _cutoff(self) -> list[pulp.LpVariable]:
        """w[i] ≤ w[i+1]: under a cutoff, so do stronger reads pass; the strongest always do."""
        last = len(self.problem.thresholds) - 1
        w = [binary("w", i) for i in range(last)]
        w.append(pulp.LpVariable("w_last", 1, 1))
        for weaker, stronger in itertools.pairwise(w):
            self.mip += weaker <= stronger
        return w

    def _chain(self) -> list[pulp.LpAffineExpression]:
        """What each class meets; an unused slot changes nothing, an empty chain lets all through.

        and: t ≤ before, t ≤ lit, t ≥ before + lit − 1;  or: t ≥ before, t ≥ lit, t ≤ before + lit.
        """
        classes = range(self.problem.profile.classes)
        used = [pulp.lpSum(slot) for slot in self.x]
        through = [pulp.LpAffineExpression(1) for _ in classes]
        for s, slot in enumerate(self.x):
            self.mip += used[s] <= (used[s - 1] if s else 1)
            self.mip += self.either[s] >= 1 - used[s] if s else self.either[s] == 0
            for k in classes:
                self.clock.check()
                hit = share("hit", s, k)
                self.mip += hit == pulp.lpSum(slot[j] for j in self._literals_of(k))
                if s == 0:
                    through[k] = hit + 1 - used[0]
                    continue
                before, now, either = through[k], share("t", s, k), self.either[s]
                self.mip += now <= before + either
                self.mip += now <= hit + either
                self.mip += now >= before + hit - 1
                self.mip += now >= before - 1 + either
                self.mip += now >= hit - 1 + either
                self.mip += now <= before + hit
                through[k] = pulp.LpAffineExpression(now)
        return through

    def _literals_of(self, k: int) -> list[int]:
        """The literals that class k passes."""
        matches = self.problem.candidates.matches[:, k]
        return [2 * m + (0 if match else 1) for m, match in enumerate(matches)]

    def _order_of_literals(self) -> None:
        """Neighbours joined alike stand in order of number: swapping them would change nothing."""
        size = 2 * len(self.problem.candidates.masks)
        place = [pulp.lpSum((j + 1) * x for j, x in enumerate(slot)) for slot in self.x]
        for s in range(1, self.problem.slots):
            unused = 1 - pulp.lpSum(self.x[s])
            turn: pulp.LpAffineExpression | int = 0
            if s > 1:
                turn = binary("turn", s)
                joins = self.either[s] + self.either[s - 1]
                self.mip += turn <= joins
                self.mip += turn <= 2 - joins
            self.mip += place[s] >= place[s - 1] + 1 - (size + 1) * (unused + turn)

    def counted_by(self, weighed: Problem) -> tuple[pulp.LpAffineExpression, ...]:
        """Wanted and stray tags reported, where the passes count as in a problem of the same
        rows."""
        return self._counted(self._reported, weighed.row_weight)

    def _counted(
        self, reported: list[pulp.LpAffineExpression], weight: Ints
    ) -> tuple[pulp.LpAffineExpression, ...]:
        """Wanted and stray tags reported, over all passes."""
        is_wanted = self.problem.profile.row_wanted
        return tuple(
            pulp.lpSum(
                int(times) * tag
                for tag, times, one in zip(reported, weight, is_wanted, strict=True)
                if one == wanted
            )
            for wanted in (True, False)
        )

    def least(self) -> list[tuple[str, pulp.LpAffineExpression, float]]:
        """Excess, where there are limits, and loss: as `objectives`."""
        loss, problem = self.problem.policy.loss, self.problem
        found, stray = self.counted_by(problem)
        over = self.over_limits(problem, found, stray)
        lost = loss.stray * stray - loss.missed * found
        order = [("loss", lost, loss.missed * problem.wanted)]
        return [("excess", pulp.lpSum(over), 0.0), *order] if over else order

    def objectives(self) -> Iterator[tuple[str, pulp.LpAffineExpression, float]]:
        """The order of preference: (name, expression to minimise, constant left out of it).

        The passes under the guards are added when it comes to them, which raises OutOfTimeError
        where the clock runs out.
        """
        loss, problem = self.problem.policy.loss, self.problem
        yield from self.least()
        rows, passes = len(problem.profile.row_pass), len(problem.profile.pass_count)
        guarded = self._walk(problem.guarded, rows, passes)
        kept, drifted = self._counted(guarded, problem.row_weight)
        most = loss.missed * problem.wanted
        yield "guarded", loss.stray * drifted - loss.missed * kept, most
        of_chain = [(j // 2, x) for slot in self.x for j, x in enumerate(slot)]
        masks, no_cutoff = pulp.lpSum(x for _, x in of_chain), self._passing[0]
        steps, many = pulp.lpSum(self.y), len(self.y) + 1
        yield "work", 2 * many * masks - many * no_cutoff + steps, float(many)
        levels = list(enumerate(self.y))
        for end in range(len(levels), 0, -_LEVELS_AT_ONCE):
            some = levels[max(0, end - _LEVELS_AT_ONCE) : end]
            yield "levels", pulp.lpSum(2 ** (i - some[0][0]) * y for i, y in some), 0.0
        bits = [mask.length for mask in problem.candidates.masks]
        yield "bits", pulp.lpSum(bits[mask] * x for mask, x in of_chain), 0.0

    def over_limits(
        self,
        of: Problem,
        found: pulp.LpAffineExpression,
        stray: pulp.LpAffineExpression,
        mark: str = "",
    ) -> list[pulp.LpVariable]:
        """By how much each rate of a problem is over its limit; `mark` tells the variables of
        several problems apart."""
        limits, over = of.policy.limits, []
        if limits.missed_rate_max is not None and of.wanted:
            over.append(pulp.LpVariable(f"over_missed{mark}", 0))
            self.mip += over[-1] >= 1 - limits.missed_rate_max - found * (1 / of.wanted)
        if limits.stray_rate_max is not None:
            over.append(pulp.LpVariable(f"over_stray{mark}", 0))
            self.mip += over[-1] >= stray * (1 / of.passes) - limits.stray_rate_max
        return over

    def aim(self, objective: pulp.LpAffineExpression) -> pulp.LpProblem:
        """The model with this objective."""
        self.mip.setObjective(objective + 0 * self.y[0])
        return self.mip

    def at_most(self, objective: pulp.LpAffineExpression, best: float) -> None:
        """Keep an objective at a value that it can have."""
        self.mip += objective <= best + _HELD

    def at_least(self, objective: pulp.LpAffineExpression, bound: float) -> None:
        """An objective is proven to have no lower value."""
        self.mip += objective >= bound - _HELD

    def answer(self) -> Answer:
        """The strategy that the solved variables spell out, replayed."""
        problem = self.problem
        levels = tuple(i for i, y in enumerate(self.y) if y.value() > 0.5)
        rejected = [w for w in self._passing[:-1] if w.value() < 0.5]
        cutoff = len(rejected)
        placed, joins = [], []
        for slot, either in zip(self.x, self.either, strict=True):
            for j, x in enumerate(slot):
                if x.value() > 0.5:
                    placed.append(Literal(j // 2, bool(j % 2)))
                    joins.append("or" if either.value() > 0.5 else "and")
        chain = Chain(tuple(placed), tuple(joins[1:]))
        return answer_at(problem, chain, cutoff, levels)
