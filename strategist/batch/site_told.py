"""A plan of a site in words of its case: replayed, with its curves and what to buy first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from strategist.batch.site_answer import (
    SAME,
    Buy,
    HostRule,
    OfBudget,
    OfSettings,
    OwnPart,
    PointPlan,
    ReaderPlan,
    SitePlan,
)
from strategist.batch.site_posed import Posed
from strategist.batch.site_rules import rule_in_words, why_none
from strategist.errors import DisagreementError
from strategist.optimise.clock import Clock
from strategist.optimise.site.asked import Plan, ReaderOf
from strategist.optimise.site.plan import SitePlanner
from strategist.optimise.site.reader import ReaderTask, solve_reader
from strategist.optimise.strategy import Strategy
from strategist.survey.case import Case
from strategist.survey.records import Survey
from strategist.trust.arbitration import Discarded, Reporting, discarded
from strategist.trust.evaluate import Outcome, evaluate

__all__ = ["InWords", "part_of"]

_CURVE = 8  # entries of a curve at most


def part_of(clock: Clock, share: float) -> Clock:
    """A clock for a share of the time left."""
    return Clock(None if clock.left is None else share * clock.left)


@dataclass(frozen=True, eq=False)
class InWords:
    """Puts a plan into words of the case."""

    case: Case
    posed: Posed
    planner: SitePlanner
    plan: Plan
    clock: Clock

    def made(self, at_most: int | None, budget: float | None) -> SitePlan:
        problem, plan = self.posed.problem, self.plan
        used = dict.fromkeys(one.strategy for one in plan.points if one.strategy is not None)
        settings = tuple(used)
        readers = tuple(map(self._reader, range(len(problem.readers))))
        visited = [one for one in readers if one.visited]
        order = sorted(visited, key=lambda one: (-_worth(one.saves, one.price), one.reader))
        points = tuple(self._point(p, settings) for p in range(len(problem.points)))
        rules = tuple(
            rule_in_words(self.posed, plan, number, self._gone)
            for number in range(len(problem.pairs))
        )
        without = None
        if rules:
            bare = self.planner.plan(at_most, budget, part_of(self.clock, 0.2), rules=False)
            without = bare.loss
        return SitePlan(
            site=self.case.site,
            at_most=at_most,
            budget=budget,
            aim="both" if len(set(self.posed.aims)) > 1 else self.posed.aims[0],
            loss=plan.loss,
            survey_loss=round(sum(one.survey_loss for one in points), 6),
            bound=plan.bound[1] if plan.bound[0] >= plan.excess else 0.0,
            pool_bound=plan.pool_bound[1] if plan.pool_bound[0] >= plan.excess else 0.0,
            excess=plan.excess,
            proven=plan.proven,
            alone=sum(one.alone for one in readers),
            price=plan.price,
            settings=settings,
            readers=readers,
            read_points=points,
            rules=rules,
            without_rules=without,
            of_settings=self._of_settings(budget, len(settings)),
            of_budget=self._of_budget(at_most, order),
            buys=tuple(self._buys([one for one in rules if one.in_force])),
            order=tuple(one.reader for one in order),
            notes=(*self.posed.notes, *self._of_rules()),
            seconds=self.clock.spent,
        )

    def _point(self, p: int, settings: Sequence[Strategy]) -> PointPlan:
        """A read point, replayed by the evaluator. Raises DisagreementError."""
        problem, planned = self.posed.problem, self.plan.points[p]
        name = problem.names[p]
        reader = problem.readers[problem.reader[p]].name
        one = problem.points[p][planned.alternative]
        passes = self.posed.surveyed[p][planned.alternative]
        if planned.strategy is None:
            wanted = int(passes.roster_wanted.sum())
            none = one.policy.loss.missed * wanted
            return PointPlan(name, reader, None, None, wanted, 0, planned.loss, none)
        loss = one.scale * self._replayed(one.survey, p).loss
        if abs(loss - planned.loss) > SAME * max(1.0, planned.loss):
            raise DisagreementError(
                f"the plan has a loss of {planned.loss:g} at {name}, the evaluator of {loss:g}, "
                "for the same strategy: please report this"
            )
        number, found = settings.index(planned.strategy) + 1, self._replayed(passes, p)
        counts = found.missed, found.stray
        return PointPlan(name, reader, one.option, number, *counts, planned.loss, found.loss)

    def _replayed(self, survey: Survey, p: int) -> Outcome:
        """What a read point comes to in a survey of its own, after the rules."""
        planned = self.plan.points[p]
        policy = self.posed.problem.points[p][planned.alternative].policy
        assert planned.strategy is not None
        outcome = evaluate(survey, policy, planned.strategy)
        copied = survey is not self.posed.surveyed[p][planned.alternative]
        gone = (self._gone_in_copies if copied else self._gone).get(p, Discarded())
        missed, stray = outcome.missed + gone.wanted, outcome.stray - gone.stray
        loss = policy.loss.missed * missed + policy.loss.stray * stray
        return replace(outcome, missed=missed, stray=stray, loss=loss)

    @cached_property
    def _gone(self) -> dict[int, Discarded]:
        return self._discarded(copied=False)

    @cached_property
    def _gone_in_copies(self) -> dict[int, Discarded]:
        return self._discarded(copied=True)

    def _discarded(self, *, copied: bool) -> dict[int, Discarded]:
        """What the rules in force discard at each read point, in the passes surveyed or (`copied`)
        in those planned over."""
        problem, found = self.posed.problem, dict[int, Discarded]()
        for pair, rule in zip(problem.pairs, self.plan.rules, strict=True):
            if rule is None:
                continue
            both = []
            for p in pair.points:
                one, strategy = problem.points[p][0], self.plan.points[p].strategy
                assert strategy is not None
                survey = one.survey if copied else self.posed.surveyed[p][0]
                outcome = evaluate(survey, one.policy, strategy)
                both.append(Reporting(survey, one.policy, strategy, outcome))
            facing = None if pair.facing is None else pair.points.index(pair.facing)
            gone = discarded(both, rule.threshold_db, facing)
            found |= dict(zip(pair.points, gone, strict=True))
        return found

    def _of_rules(self) -> tuple[str, ...]:
        notes = (why_none(self.posed, pair, self.plan) for pair in self.posed.problem.pairs)
        return tuple(note for note in notes if note)

    def _reader(self, number: int) -> ReaderPlan:
        problem, reader = self.posed.problem, self.posed.problem.readers[number]
        planned = [self.plan.points[p] for p in reader.points]
        some = tuple(one.alternative for one in planned)
        solved = {one.alternatives: one for one in self.planner.solved[number]}
        silence = self.planner.solved[number][0].silence[1]
        loss = round(sum(one.loss for one in planned), 6)
        visited = any(one.strategy is not None for one in planned)
        price = problem.visit if visited else 0.0
        price += sum(problem.points[p][a].price for p, a in zip(reader.points, some, strict=True))
        return ReaderPlan(
            reader.name,
            tuple(problem.names[p] for p in reader.points),
            () if reader.free else reader.shares,
            loss,
            (solved.get(some) or self.planner.solved[number][0]).alone[1],
            round(silence - loss, 6),
            price,
            visited,
            self._own_parts(reader, some, loss),
        )

    def _own_parts(self, reader: ReaderOf, some: Sequence[int], loss: float) -> tuple[OwnPart, ...]:
        """Nothing where there is no time left, but one part is shared, or a rule is in force there
        (what less shared would lose is without one)."""
        ruled = any(p in self._gone_in_copies for p in reader.points)
        if reader.free or len(reader.shares) < 2 or ruled:
            return ()
        points = self.posed.problem.points
        chosen = tuple((points[p][a],) for p, a in zip(reader.points, some, strict=True))
        found = []
        for part in reader.shares:
            if self.clock.expired():
                break
            rest = replace(reader, shares=tuple(one for one in reader.shares if one != part))
            task = ReaderTask(rest, chosen, (), part_of(self.clock, 0.1).seconds)
            solved = solve_reader(task)[0]
            least = min(solved.best[1], loss)  # what agrees in more agrees in less, too
            found.append(OwnPart(part, least, solved.bound[1] >= least - SAME))
        return tuple(found)

    def _of_settings(self, budget: float | None, used: int) -> tuple[OfSettings, ...]:
        """From one setting to as many as the plan without a limit has."""
        free = self.planner.plan(None, budget, part_of(self.clock, 0.2))
        curve: list[OfSettings] = []
        for at_most in range(1, min(_CURVE, max(free.settings, used)) + 1):
            if self.clock.expired():
                break
            one = self.planner.plan(at_most, budget, part_of(self.clock, 0.2))
            bound = one.bound[1] if one.bound[0] >= one.excess else 0.0
            curve.append(OfSettings(at_most, one.loss, bound, one.price))
            if one.loss <= free.loss + SAME:
                break
        return tuple(curve)

    def _of_budget(self, at_most: int | None, order: Sequence[ReaderPlan]) -> tuple[OfBudget, ...]:
        """At the sums of the visits in order."""
        curve: list[OfBudget] = []
        sums = [0.0]
        for one in order:
            sums.append(sums[-1] + one.price)
        sums.append(self.plan.price)
        steps = sorted({round(one, 2) for one in sums})
        if len(steps) < 2:
            return ()
        thinned = steps[:: -(-len(steps) // _CURVE)]
        for budget in dict.fromkeys([*thinned, steps[-1]]):
            if self.clock.expired():
                break
            plan = self.planner.plan(at_most, budget, part_of(self.clock, 0.2))
            bound = plan.bound[1] if plan.bound[0] >= plan.excess else 0.0
            curve.append(OfBudget(budget, plan.loss, bound, plan.price))
        return tuple(curve)

    def _buys(self, rules: Sequence[HostRule]) -> list[Buy]:
        """Each visit, option and rule in force for itself, what saves most for its price first."""
        problem, found = self.posed.problem, []
        for number, reader in enumerate(problem.readers):
            plain, *others = self.planner.solved[number]
            saves = round(plain.silence[1] - plain.best[1], 6)
            found.append(Buy("visit", reader.name, None, None, problem.visit, saves))
            for one in others:
                chosen = [(p, a) for p, a in zip(reader.points, one.alternatives, strict=True) if a]
                if len(chosen) == 1:
                    ((p, a),) = chosen
                    option = problem.points[p][a]
                    saves = max(0.0, round(plain.best[1] - one.best[1], 6))
                    name = problem.names[p]
                    found.append(
                        Buy("option", reader.name, name, option.option, option.price, saves)
                    )
        for rule in rules:
            saves = max(0.0, round(rule.loss_without - rule.loss, 6))
            at = problem.readers[problem.reader[problem.names.index(rule.read_points[0])]].name
            found.append(Buy("rule", at, None, rule.name, rule.price, saves))
        return sorted(found, key=lambda one: -_worth(one.saves, one.price))


def _worth(saves: float, price: float) -> float:
    """Loss saved for money; without a price the loss itself, and more than any with one."""
    return saves / price if price else saves * 1e9
