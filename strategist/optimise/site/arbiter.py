"""The rules of all pairs of a site, for the columns that its master has."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.problem import value
from strategist.optimise.site.asked import Alternative, Planned, Rule, SiteProblem
from strategist.optimise.site.contested import Contest, Reports, Side
from strategist.optimise.site.master import Column, Joint
from strategist.optimise.strategy import Strategy

__all__ = ["Arbiter"]

_Alike = dict[tuple[int, int, bytes], tuple[Reports, list[int]]]  # columns that report the same


class Arbiter:
    """What is contested at each pair, and the best rule of columns, each worked out once."""

    def __init__(self, problem: SiteProblem) -> None:
        self.contests = tuple(
            Contest.of(pair, [problem.points[p][0] for p in pair.points]) for pair in problem.pairs
        )
        self.side = {
            p: (contest, number)
            for contest in self.contests
            for number, p in enumerate(contest.pair.points)
        }
        self._reports: dict[tuple[int, Strategy], Reports | None] = {}
        self._rules: dict[tuple[object, ...], Rule | None] = {}

    def freed(self, point: int, as_surveyed: Alternative) -> Alternative:
        """With what a rule may discard there."""
        if point not in self.side:
            return as_surveyed
        contest, number = self.side[point]
        free = contest.free_below(number)
        return replace(as_surveyed, free_below=free) if (free > -np.inf).any() else as_surveyed

    def side_of(self, point: int, alternative: int) -> Side | None:
        """None: no rule looks at what it reports."""
        if point not in self.side or alternative:
            return None
        contest, number = self.side[point]
        return contest.sides[number]

    def answered(
        self, point: int, as_surveyed: Alternative, planned: Sequence[Planned]
    ) -> Alternative:
        """With what a rule may discard there since the other read point reports it in a plan."""
        if as_surveyed.free_below is None:
            return as_surveyed
        contest, number = self.side[point]
        other = planned[contest.pair.points[1 - number]]
        side = contest.sides[1 - number]
        reports = None if other.alternative else side.reports(other.strategy)
        free = np.full(len(as_surveyed.free_below), -np.inf)
        if reports is not None:
            entry, rssi = contest.sides[number].entry, reports.rssi
            faced = contest.pair.facing is not None
            free[entry] = np.where(np.isfinite(rssi), np.inf, rssi) if faced else rssi
        return replace(as_surveyed, free_below=np.minimum(free, as_surveyed.free_below))

    def joints(
        self, columns: Sequence[tuple[Column, Planned]], clock: Clock
    ) -> tuple[list[Joint], list[Rule]]:
        """For each two kinds of columns of a pair (those that report the same) for which some rule
        is better than none, what the best one changes."""
        joints: list[Joint] = []
        rules: list[Rule] = []
        for number, contest in enumerate(self.contests):
            first, second = (self._alike(p, columns) for p in contest.pair.points)
            for one, (reports, some) in first.items():
                clock.check()
                for other, (against, others) in second.items():
                    key = (number, one, other)
                    if key not in self._rules:
                        self._rules[key] = contest.best(reports, against)
                    rule = self._rules[key]
                    if rule is None:
                        continue
                    at = columns[some[0]][0], columns[others[0]][0]
                    joints.append(
                        Joint(
                            *(number, tuple(some), tuple(others)),
                            excess=value(rule.key[0] - at[0].excess - at[1].excess),
                            loss=value(rule.key[1] - at[0].loss - at[1].loss),
                            price=contest.pair.price,
                        )
                    )
                    rules.append(rule)
        return joints, rules

    def on_top(self, planned: Sequence[Planned]) -> dict[int, Rule]:
        """The best rule of each pair where read points use what is planned."""
        found = {}
        for number, contest in enumerate(self.contests):
            both = [planned[p] for p in contest.pair.points]
            if any(one.alternative or one.strategy is None for one in both):
                continue
            sides = zip(contest.sides, both, strict=True)
            first, second = (side.reports(one.strategy) for side, one in sides)
            rule = None if first is None or second is None else contest.best(first, second)
            if rule is not None:
                found[number] = rule
        return found

    def _alike(self, point: int, columns: Sequence[tuple[Column, Planned]]) -> _Alike:
        """The columns of a read point as surveyed by what they report; silence is none."""
        contest, number = self.side[point]
        found: _Alike = {}
        by_report: dict[tuple[int, int, bytes], list[int]] = defaultdict(list)
        for j, (column, planned) in enumerate(columns):
            if column.point != point or planned.alternative or planned.strategy is None:
                continue
            key = (point, planned.strategy)
            if key not in self._reports:
                self._reports[key] = contest.sides[number].reports(planned.strategy)
            reports = self._reports[key]
            if reports is None:
                continue
            name = (reports.counts.missed, reports.counts.stray, reports.rssi.tobytes())
            by_report[name].append(j)
            found[name] = reports, by_report[name]
        return found
