"""The plan of a site: columns from the exact search of each reader, and the model over them.

Each reader is solved for itself, with each of its options: what its read points come to where they
agree, proven (`agreed`). That gives columns, and a bound that no plan is below, whatever else must
hold. Where settings must be few or cost something, more columns are strategies of one read point
at the others; and where the site is small, every strategy there is (`every`), so that what the
model proves over its columns is proven of all.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any

from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.problem import value
from strategist.optimise.site.arbiter import Arbiter
from strategist.optimise.site.asked import Plan, Planned, Rule, SiteProblem
from strategist.optimise.site.every import every_strategy
from strategist.optimise.site.master import Chosen, Column, Joint, Master, Terms
from strategist.optimise.site.member import members_of
from strategist.optimise.site.quick import quick
from strategist.optimise.site.reader import (
    Columns,
    ReaderTask,
    Solved,
    answer_partners,
    solve_reader,
    try_at_reader,
)
from strategist.optimise.site.values import settable
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Tag
from strategist.survey.site import SHARED_PARTS

__all__ = ["Map", "SitePlanner"]

_ELSEWHERE = 200  # strategies that are tried at the other read points
_SMALL = 8  # read points and options up to which every strategy is listed
_SHARE = 0.6  # of the time that is left, for the readers
_ANSWERS = 3  # times that read points in pairs answer each other
_WORTH = 2.0  # times the seconds that a reader had: to begin it again is worth it

Map = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[Any]]


@dataclass(eq=False)
class SitePlanner:
    """Columns of a site and bounds of its readers, made once; plans for any K and budget.

    `mapped` runs what is asked of each reader: the built-in `map`, or that of a pool. `known` are
    columns of each reader over other passes (none, or as many as readers), whose strategies are
    columns here, too. So many `places` work at once: each reader has so much more time.
    """

    problem: SiteProblem
    clock: Clock = field(default_factory=Clock)
    seed: int = 0
    mapped: Map = map
    known: Sequence[Columns] = ()
    places: int = 1

    def __post_init__(self) -> None:
        self.arbiter = Arbiter(self.problem)
        points = [
            (
                self.arbiter.freed(p, some[0]),
                *(replace(one, nothing=some[0].silence) for one in some[1:]),
            )
            for p, some in enumerate(self.problem.points)
        ]
        self.problem = replace(self.problem, points=tuple(points))
        self._settings: dict[Strategy, int] = {}
        self._values: dict[tuple[object, ...], int] = {}
        self._columns: dict[tuple[int, int, Strategy | None], tuple[Column, Planned]] = {}
        self._answering = False  # whether columns are being found for what partners report
        self._every = False  # whether no other strategy could be in a best plan
        self.reader = self.problem.reader
        self.solved = self._solved()
        for one in (column for some in self.solved for each in some for column in each.columns):
            self._add(*one)

    @cached_property
    def small(self) -> bool:
        """Whether every strategy may be listed: few read points, with masks of the same kind."""
        alternatives = [one for some in self.problem.points for one in some]
        kinds = {
            (
                one.policy.reader,
                one.policy.serial_masks,
                one.policy.stop_after,
                "masks" in one.policy.allow,
                "cutoff" in one.policy.allow,
            )
            for one in alternatives
        }
        return len(alternatives) <= _SMALL and len(kinds) == 1

    @cached_property
    def _beside(self) -> tuple[Tag, ...]:
        """Tags whose masks may be chosen everywhere: all of a small site, else none."""
        if not self.small:
            return ()
        points = self.problem.points
        return tuple({tag for some in points for one in some for tag in one.survey.tags})

    def _solved(self) -> list[tuple[Solved, ...]]:
        """Each reader for itself. Time that most of them did not need goes to those that did."""
        solved: list[tuple[Solved, ...]] = []
        numbers, share = list(range(len(self.problem.readers))), 0.0
        while numbers:
            left = self.clock.left
            before, part = share, min(1.0, self.places / len(numbers))
            share = 0.0 if left is None else _SHARE * left * part
            if solved and share <= _WORTH * before:
                break
            tasks = self._tasks(numbers, None if left is None else share)
            found = [*self.mapped(solve_reader, tasks)]
            if not solved:
                solved = [*found]
            else:
                for n, again in zip(numbers, found, strict=True):
                    each = zip(solved[n], again, strict=True)
                    solved[n] = tuple(one.and_so(other) for one, other in each)
            numbers = [n for n in numbers if not all(one.proven for one in solved[n])]
            if left is None:
                break
        return solved

    def _tasks(self, numbers: Iterable[int], seconds: float | None) -> list[ReaderTask]:
        """Some of the readers, with so many seconds each (None: until proven)."""
        points, every = self.problem.points, self.problem.readers
        known = self.known or ((),) * len(every)
        return [
            ReaderTask(
                every[n],
                tuple(points[p] for p in every[n].points),
                self._beside,
                seconds,
                known[n],
            )
            for n in numbers
        ]

    def _add(self, point: int, planned: Planned) -> None:
        """A column, of each strategy once."""
        key = (point, planned.alternative, planned.strategy)
        if key in self._columns:
            return
        alternative = self.problem.points[point][planned.alternative]
        column = Column(point, planned.excess, planned.loss)
        strategy, reader = planned.strategy, self.problem.readers[self.reader[point]]
        if strategy is not None:
            part = 0.0
            if reader.cycle_s is not None:
                part = len(strategy.levels_dbm) * alternative.step_s[len(strategy.masks)]
            column = replace(
                column,
                setting=self._settings.setdefault(strategy, len(self._settings)),
                value=self._value(reader.shares, strategy) if len(reader.points) > 1 else None,
                cycle_s=part,
                price=alternative.price,
            )
        self._columns[key] = column, planned

    def _value(self, shares: Sequence[str], strategy: Strategy) -> int | None:
        """The number of what a strategy has of the parts that its reader shares."""
        if not shares:
            return None
        parts = {
            "masks": strategy.masks,
            "cutoff": strategy.cutoff,
            "ladder": strategy.levels_dbm,
        }
        key = tuple(parts[one] for one in shares)
        return self._values.setdefault(key, len(self._values))

    @cached_property
    def _listed(self) -> None:
        """All strategies there are, where the site is small."""
        if self.small:
            self._list_every()

    @cached_property
    def _spread(self) -> None:
        """Strategies of one read point tried at the others: the best of each reader first."""
        _ = self._listed
        if not self._every:
            of_reader = [
                [x.strategy for one in some for _, x in one.columns if x.strategy is not None]
                for some in self.solved
            ]
            in_turn = itertools.chain.from_iterable(itertools.zip_longest(*of_reader))
            known = [one for one in dict.fromkeys(in_turn) if one is not None][:_ELSEWHERE]
            readers, left = range(len(self.problem.readers)), self.clock.left
            tasks = self._tasks(readers, None if left is None else _SHARE * left / len(readers))
            for columns in self.mapped(partial(try_at_reader, strategies=known), tasks):
                for one in columns:
                    self._add(*one)

    @cached_property
    def _answered(self) -> None:
        """Columns of read points in pairs for what the other reports in the best plan so far."""
        paired = {p for pair in self.problem.pairs for p in pair.points}
        numbers = [n for n, one in enumerate(self.problem.readers) if paired & set(one.points)]
        self._answering = True
        for _ in range(0 if self._every else _ANSWERS):
            before, left = len(self._columns), self.clock.left
            if left is not None and left <= 0:
                break
            share = None if left is None else _SHARE * left / (_ANSWERS * len(numbers))
            plan = self.plan(clock=Clock(None if left is None else (1 - _SHARE) * left / _ANSWERS))
            tasks = [
                replace(
                    task,
                    alternatives=tuple(
                        (self.arbiter.answered(p, some[0], plan.points),)
                        for p, some in zip(task.reader.points, task.alternatives, strict=True)
                    ),
                )
                for task in self._tasks(numbers, share)
            ]
            for columns in self.mapped(answer_partners, tasks):
                for one in columns:
                    self._add(*one)
            if len(self._columns) == before:
                break
        self._answering = False

    def _list_every(self) -> None:
        places = [(p, a) for p, some in enumerate(self.problem.points) for a in range(len(some))]
        given = [self.problem.points[p][a] for p, a in places]
        joint, members = members_of(given)
        readers = [one for one in self.problem.readers if not one.free]
        some = [frozenset(one.shares) for one in readers if len(one.shares) < len(SHARED_PARTS)]
        shares = frozenset().union(*some)
        timed = any(one.cycle_s is not None for one in readers)
        try:
            sides = [self.arbiter.side_of(p, a) for p, a in places]
            found = every_strategy(joint, members, shares, self.clock, timed=timed, sides=sides)
        except OutOfTimeError:
            return
        if found is None:
            return
        self._every, policy = True, given[0].policy
        for number, (chain, cutoff, ladder) in enumerate(found.strategies):
            strategy = Strategy(
                ladder,
                policy.stop_after,
                settable(cutoff, policy.reader.rssi_step_db),
                members[0].problem.masks(chain),
            )
            for m, (p, a) in enumerate(places):
                excess, loss = float(found.excess[number, m]), float(found.loss[number, m])
                if excess < float("inf"):
                    self._add(p, Planned(a, strategy, excess, members[m].scale * loss))

    def plan(
        self,
        at_most: int | None = None,
        budget: float | None = None,
        clock: Clock | None = None,
        *,
        rules: bool = True,
    ) -> Plan:
        """The best plan with at most so many settings and so much money; without `rules` nothing
        is discarded."""
        clock = clock or self.clock
        problem = self.problem
        if problem.pairs:
            _ = self._listed
        if at_most is not None or (budget is not None and problem.setting):
            _ = self._spread
        if problem.pairs and not self._answering:
            _ = self._answered
        every = [*self._columns.values()]
        columns = [column for column, _ in every]
        joints: list[Joint] = []
        of_joint: list[Rule] = []
        cycles = tuple(one.cycle_s for one in problem.readers)
        terms = Terms(
            *(self.reader, cycles, at_most, budget), visit=problem.visit, setting=problem.setting
        )
        try:
            if rules:
                joints, of_joint = self.arbiter.joints(every, clock)
            chosen = Master(columns, terms, clock, joints).solve(self.seed)
        except OutOfTimeError:
            chosen = None
        if chosen is None or not chosen.proven:
            sure = quick(columns, terms)
            if chosen is None or (sure.excess, sure.loss) < (chosen.excess, chosen.loss):
                chosen = replace(sure, bound=sure.bound if chosen is None else chosen.bound)
        bound = max(self._bound(budget, clock), chosen.bound if self._every else (0.0, 0.0))
        in_force = {joints[u].pair: of_joint[u] for u in chosen.joints}
        plan = self._made(tuple(every[j][1] for j in chosen.columns), chosen, bound, in_force)
        if in_force or (rules and problem.pairs and not chosen.proven):
            bare = self.plan(at_most, budget, clock, rules=False)
            if not chosen.proven and budget is None:
                bare = self._with_rules(bare)
            if (bare.excess, bare.loss) <= (plan.excess, plan.loss):  # a rule is work
                return replace(bare, bound=plan.bound, pool_bound=plan.pool_bound)
        return plan

    def _with_rules(self, bare: Plan) -> Plan:
        """A plan with the best rule of each pair for what is planned there."""
        found, points = self.arbiter.on_top(bare.points), list(bare.points)
        for number, rule in found.items():
            for p, key in zip(self.problem.pairs[number].points, rule.keys, strict=True):
                points[p] = replace(points[p], excess=key[0], loss=key[1])
        return replace(
            bare,
            points=tuple(points),
            excess=value(sum(one.excess for one in points)),
            loss=value(sum(one.loss for one in points)),
            price=bare.price + sum(self.problem.pairs[number].price for number in found),
            rules=tuple(found.get(number) for number in range(len(self.problem.pairs))),
        )

    def _bound(self, budget: float | None, clock: Clock) -> tuple[float, float]:
        """The readers' bounds, with what they cost at least: no plan is below."""
        columns = []
        for r, (some, reader) in enumerate(zip(self.solved, self.problem.readers, strict=True)):
            columns.append(Column(r, *some[0].silence))
            for one in some:
                prices = (
                    self.problem.points[p][a].price
                    for p, a in zip(reader.points, one.alternatives, strict=True)
                )
                columns.append(Column(r, *one.bound, price=self.problem.visit + sum(prices)))
        terms = Terms(tuple(range(len(self.solved))), (None,) * len(self.solved), budget=budget)
        try:
            chosen = Master(columns, terms, clock).solve(self.seed)
        except OutOfTimeError:
            chosen = None
        return (0.0, 0.0) if chosen is None else chosen.bound

    def _made(
        self,
        points: tuple[Planned, ...],
        chosen: Chosen,
        bound: tuple[float, float],
        in_force: Mapping[int, Rule],
    ) -> Plan:
        settings = {one.strategy for one in points} - {None}
        visited = {self.reader[p] for p, one in enumerate(points) if one.strategy is not None}
        price = self.problem.visit * len(visited) + self.problem.setting * len(settings)
        price += sum(self.problem.points[p][one.alternative].price for p, one in enumerate(points))
        ruled = list(points)
        for number, rule in in_force.items():
            pair = self.problem.pairs[number]
            price += pair.price
            for p, (excess, loss) in zip(pair.points, rule.keys, strict=True):
                ruled[p] = replace(points[p], excess=excess, loss=loss)
        least = (value(chosen.excess), value(chosen.loss))
        pool = (value(chosen.bound[0]), value(chosen.bound[1]))
        rules = tuple(in_force.get(number) for number in range(len(self.problem.pairs)))
        return Plan(
            tuple(ruled), *least, min(bound, least), min(pool, least), price, len(settings), rules
        )
