"""The plan of a whole site: what to set at each reader, what sharing costs, what to do first."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from strategist.batch.engine import carry_out, engine_for
from strategist.errors import DisagreementError, Fault, InputError, SolveError
from strategist.optimise.clock import Clock
from strategist.optimise.problem import candidates_of
from strategist.optimise.site.asked import Alternative, Plan, ReaderOf, SiteProblem
from strategist.optimise.site.plan import SitePlanner
from strategist.optimise.site.reader import COMBINATIONS_MAX, ReaderTask, solve_reader
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.radio.dwell import failed_reads, field_of, step_time
from strategist.radio.timing import LINK_PROFILES
from strategist.survey.answer import Declared, Seconds, told
from strategist.survey.case import Case
from strategist.survey.policy import InConditions, Policy
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint, Survey
from strategist.trust.evaluate import evaluate

_SAME = 1e-6
_CURVE = 8  # entries of a curve at most
_MAIN = 0.5  # of the time, for readers and the plan that is asked for


@dataclass(frozen=True)
class OwnPart(Declared):
    """What the read points of a reader would lose with this part of their own, the rest shared:
    at most, where it is not `proven`."""

    part: str
    loss: float
    proven: bool


@dataclass(frozen=True)
class ReaderPlan(Declared):
    """A reader: what it and its read points come to, and what they would with nothing shared.

    `alone` is the least that its read points would lose with a setting of its own each, `own_parts`
    what they would with less shared, `saves` what the visit saves against reporting nothing,
    `price` that of the visit and of its options.
    """

    reader: str
    read_points: tuple[str, ...]
    shares: tuple[str, ...]
    loss: float
    alone: float
    saves: float
    price: float
    visited: bool
    own_parts: tuple[OwnPart, ...]

    @told(after="alone")
    def sharing_costs(self) -> float:
        return max(0.0, round(self.loss - self.alone, 6))


@dataclass(frozen=True)
class PointPlan(Declared):
    """What a read point gets: the number of its setting, from 1 (null: it reports nothing)."""

    read_point: str
    reader: str
    option: str | None
    setting: int | None
    missed: int
    stray: int
    loss: float


@dataclass(frozen=True)
class OfSettings(Declared):
    """What the site loses with at most so many different settings."""

    at_most: int
    loss: float
    bound: float
    price: float


@dataclass(frozen=True)
class OfBudget(Declared):
    """What the site loses with so much money."""

    budget: float
    loss: float
    bound: float
    price: float


@dataclass(frozen=True)
class Buy(Declared):
    """What a visit or an option saves for its price, beside what the reader loses without."""

    kind: Annotated[str, Field(description="visit or option")]
    reader: str
    read_point: str | None
    option: str | None
    price: float
    saves: float


@dataclass(frozen=True)
class SitePlan(Declared):
    """The plan of a site with at most so many settings and so much money (null: any).

    No plan loses less than `bound`; none made of the strategies looked at less than `pool_bound`.
    `alone` is what the read points would lose with a setting of their own each and no budget.
    `order` are the visits, that which saves most for its price first.
    """

    site: str
    at_most: int | None
    budget: float | None
    loss: float
    bound: float
    pool_bound: float
    excess: Annotated[float, Field(description="Over the hard limits, summed; 0: all are kept")]
    proven: bool
    alone: float
    price: float
    settings: tuple[Strategy, ...]
    readers: tuple[ReaderPlan, ...]
    read_points: tuple[PointPlan, ...]
    of_settings: tuple[OfSettings, ...]
    of_budget: tuple[OfBudget, ...]
    buys: tuple[Buy, ...]
    order: tuple[str, ...]
    notes: tuple[str, ...]
    seconds: Seconds

    @told(after="bound")
    def gap(self) -> float:
        """(loss − bound) ÷ loss; 0 where both are 0."""
        return (self.loss - self.bound) / self.loss if self.loss > self.bound + _SAME else 0.0

    @told(after="alone")
    def sharing_costs(self) -> float:
        """What all that must agree costs, against each read point for itself."""
        return max(0.0, round(self.loss - self.alone, 6))


def read_options(folder: str | Path, case: Case) -> dict[str, Case]:
    """The cases of the options that read points of a case name, by folder as it is named there.

    Raises InputError with the place in site.json where one cannot be read.
    """
    found: dict[str, Case] = {}
    for point in case:
        for name, option in point.policy.options:
            if option.case in found:
                continue
            try:
                found[option.case] = read_case(Path(folder) / option.case)
            except InputError as error:
                place = f"{point.name}, option {name}"
                raise InputError(
                    replace(fault, source=f"{place}: {fault.source}") for fault in error.faults
                ) from None
    return found


def plan_site(
    case: Case,
    at_most: int | None = None,
    budget: float | None = None,
    *,
    options: Mapping[str, Case] | None = None,
    time_limit_s: float | None = None,
    seed: int = 0,
    workers: int = 0,
    scheduler: str | None = None,
) -> SitePlan:
    """The plan of least summed loss: a strategy for each read point, so that those on one reader
    agree in what it shares, with at most so many different settings and so much money.

    `options` are the cases that read points name as options (`read_options`); those that are not
    given are left out, and a note says so. Losses are those of the passes surveyed, each once.
    `workers` and `scheduler` are those of `run_batch`; each worker takes a reader at a time. Raises
    InputError where a read point cannot be solved, where what shares masks differs in what masks
    may be, and where a cycle is limited and nothing says how long a step takes; DisagreementError
    where the evaluator finds another loss.
    """
    if at_most is not None and at_most < 1:
        raise InputError.one("at_most", str(at_most), "1 or more")
    if budget is not None and budget < 0:
        raise InputError.one("budget", f"{budget:g}", "0 or more")
    clock = Clock(time_limit_s)
    posed = _Posed.of(case, options or {})
    several = len(posed.problem.readers) > 1
    planner = SitePlanner(
        posed.problem, clock, seed, partial(_mapped, workers if several else 0, scheduler)
    )
    plan = planner.plan(at_most, budget, _part(clock, _MAIN))
    return _Answer(case, posed, planner, plan, clock).made(at_most, budget)


def _mapped(
    workers: int, scheduler: str | None, function: Callable[[Any], Any], tasks: Sequence[ReaderTask]
) -> list[Any]:
    """What a function finds for each task, by the workers of a batch. Raises what it raises."""
    if not workers and scheduler is None:
        return [function(task) for task in tasks]
    found: dict[int, Any] = {}
    run, engine = partial(_each, function), engine_for(workers, scheduler)
    numbered = [_Numbered(number, task) for number, task in enumerate(tasks)]
    for answered in carry_out(numbered, run, engine, _died, len(tasks)):
        for job, answer in answered:
            if isinstance(answer, _Refused):
                raise InputError(answer.faults)
            if isinstance(answer, SolveError):
                raise answer
            found[job.number] = answer
    return [found[number] for number in range(len(tasks))]


@dataclass(frozen=True, eq=False)
class _Numbered:
    number: int
    task: ReaderTask

    @property
    def size(self) -> int:
        return self.task.size


def _each(function: Callable[[Any], Any], jobs: Sequence[_Numbered]) -> list[Any]:
    found = []
    for job in jobs:
        try:
            found.append(function(job.task))
        except InputError as error:
            found.append(_Refused(tuple(error.faults)))
    return found


@dataclass(frozen=True)
class _Refused:
    """Faults on their way from a worker."""

    faults: tuple[Fault, ...]


def _died(job: _Numbered) -> Any:
    return SolveError(f"the worker of the reader {job.task.reader.name} died")


def _part(clock: Clock, share: float) -> Clock:
    return Clock(None if clock.left is None else share * clock.left)


@dataclass(frozen=True, eq=False)
class _Posed:
    """The problem of a case, the read points behind it, and what is to say of it."""

    problem: SiteProblem
    notes: tuple[str, ...]

    @staticmethod
    def of(case: Case, options: Mapping[str, Case]) -> _Posed:
        notes: list[str] = []
        names = tuple(point.name for point in case)
        served = {name: key for key, one in case.readers.items() for name in one.read_points}
        readers = [
            ReaderOf(
                name,
                tuple(names.index(one) for one in shared.read_points if one in names),
                shared.shares,
                shared.cycle_s,
            )
            for name, shared in case.readers.items()
        ]
        readers = [one for one in readers if one.points]
        readers += [ReaderOf(n, (p,)) for p, n in enumerate(names) if n not in served]
        timed = {p for one in readers if one.cycle_s is not None for p in one.points}
        points = tuple(
            tuple(_alternatives(point, case, options, timed=p in timed, notes=notes))
            for p, point in enumerate(case)
        )
        for reader in readers:
            _refuse_unlike(reader, [points[p][0] for p in reader.points], names)
            _refuse_many(reader, [len(points[p]) for p in reader.points])
        cost = case.cost
        problem = SiteProblem(names, points, tuple(readers), cost.visit, cost.setting)
        return _Posed(problem, tuple(notes))


def _alternatives(
    point: ReadPoint,
    case: Case,
    options: Mapping[str, Case],
    *,
    timed: bool,
    notes: list[str],
) -> Iterable[Alternative]:
    base = _alternative(None, point, timed=timed)
    yield base
    if point.policy.aim != "survey" or point.policy.conditions.aim != "mean":
        notes.append(f"{point.name}: a site is planned over the passes surveyed, each once")
    for name, option in point.policy.options:
        if option.case not in options:
            notes.append(f"{point.name}: the option {name} is left out, as it has no survey here")
            continue
        other = options[option.case][option.read_point or point.name]
        price = case.cost.option if option.price is None else option.price
        scale = len(base.survey.pass_ids) / len(other.survey.pass_ids)
        yield replace(_alternative(name, other, timed=timed), price=price, scale=scale)


def _alternative(option: str | None, point: ReadPoint, *, timed: bool) -> Alternative:
    """A read point with each pass counting once."""
    whole = complete(point)
    survey = replace(whole.survey, pass_condition=(), pass_day=(), pass_weight=None)
    policy = replace(whole.policy, aim="survey", conditions=InConditions())
    if policy.reader.antenna_power == "own":
        path = ("read_points", point.name, "reader", "antenna_power")
        wrong = "powers by antenna are not planned for a site"
        raise InputError.one("site.json", "own", "Give shared.", path=path, wrong=wrong)
    steps = _step_seconds(survey, policy) if timed else ()
    return Alternative(option, survey, policy, step_s=steps)


def _step_seconds(survey: Survey, policy: Policy) -> tuple[float, ...]:
    """What a step takes at most with 0, 1, … masks, each as long as the longest."""
    time = policy.time
    if time.step_s is None and time.rf_mode is None:
        path = ("read_points", survey.read_point, "time")
        wrong = "its reader has a cycle_s, and nothing says how long a step takes"
        todo = "Give step_s (measured) or rf_mode (estimated)."
        raise InputError.one("site.json", "", todo, path=path, wrong=wrong)
    fields = [(mask.pointer, mask.length) for mask in candidates_of(survey, policy).masks]
    longest = []
    if time.rf_mode is not None and fields:
        profile = LINK_PROFILES[time.rf_mode]
        longest = [max(fields, key=lambda field: profile.select_us(field[1], field[0]))]
    tags, failed = field_of(survey, time), failed_reads(survey, time)
    found = []
    for masks in range(policy.reader.mask_slots + 1):
        step = step_time(time, tags, longest * masks, failed)
        assert step is not None
        found.append(step.worst_s)
    return tuple(found)


def _refuse_unlike(reader: ReaderOf, members: Sequence[Alternative], names: Sequence[str]) -> None:
    """What one reader is cannot differ between its read points."""
    if reader.free or len(members) < 2:
        return
    first = members[0].policy
    for p, one in zip(reader.points, members, strict=True):
        alike = one.policy.reader == first.reader and (
            one.policy.serial_masks == first.serial_masks
        )
        if not alike:
            path = ("read_points", names[p], "reader")
            wrong = f"is not that of {names[reader.points[0]]}, and both are on {reader.name}"
            todo = "Give both the same reader and serial_masks."
            raise InputError.one("site.json", "", todo, path=path, wrong=wrong)


def _refuse_many(reader: ReaderOf, alternatives: Sequence[int]) -> None:
    """Each combination of a reader's options is solved for itself."""
    many = math.prod(alternatives)
    if many > COMBINATIONS_MAX:
        wrong = f"the options of the read points on {reader.name} combine in {many:,} ways"
        todo = f"Leave some out: at most {COMBINATIONS_MAX} ways are weighed."
        raise InputError.one(
            "site.json", f"{many}", todo, path=("readers", reader.name), wrong=wrong
        )


@dataclass(frozen=True, eq=False)
class _Answer:
    """Puts a plan into words of the case."""

    case: Case
    posed: _Posed
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
        return SitePlan(
            site=self.case.site,
            at_most=at_most,
            budget=budget,
            loss=plan.loss,
            bound=plan.bound[1] if plan.bound[0] >= plan.excess else 0.0,
            pool_bound=plan.pool_bound[1] if plan.pool_bound[0] >= plan.excess else 0.0,
            excess=plan.excess,
            proven=plan.proven,
            alone=sum(one.alone for one in readers),
            price=plan.price,
            settings=settings,
            readers=readers,
            read_points=points,
            of_settings=self._of_settings(budget, len(settings)),
            of_budget=self._of_budget(at_most, order),
            buys=tuple(self._buys()),
            order=tuple(one.reader for one in order),
            notes=self.posed.notes,
            seconds=self.clock.spent,
        )

    def _point(self, p: int, settings: Sequence[Strategy]) -> PointPlan:
        """A read point, replayed by the evaluator. Raises DisagreementError."""
        problem, planned = self.posed.problem, self.plan.points[p]
        name = problem.names[p]
        reader = problem.readers[problem.reader[p]].name
        one = problem.points[p][planned.alternative]
        if planned.strategy is None:
            wanted = int(one.survey.roster_wanted.sum())
            return PointPlan(name, reader, None, None, wanted, 0, planned.loss)
        outcome = evaluate(one.survey, one.policy, planned.strategy)
        if abs(one.scale * outcome.loss - planned.loss) > _SAME * max(1.0, planned.loss):
            raise DisagreementError(
                f"the plan has a loss of {planned.loss:g} at {name}, the evaluator of "
                f"{one.scale * outcome.loss:g}, for the same strategy: please report this"
            )
        number = settings.index(planned.strategy) + 1
        return PointPlan(
            name, reader, one.option, number, outcome.missed, outcome.stray, planned.loss
        )

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
        """Nothing where there is no time left, or but one part is shared."""
        if reader.free or len(reader.shares) < 2:
            return ()
        points = self.posed.problem.points
        chosen = tuple((points[p][a],) for p, a in zip(reader.points, some, strict=True))
        found = []
        for part in reader.shares:
            if self.clock.expired():
                break
            rest = replace(reader, shares=tuple(one for one in reader.shares if one != part))
            task = ReaderTask(rest, chosen, (), _part(self.clock, 0.1).seconds)
            solved = solve_reader(task)[0]
            least = min(solved.best[1], loss)  # what agrees in more agrees in less, too
            found.append(OwnPart(part, least, solved.bound[1] >= least - _SAME))
        return tuple(found)

    def _of_settings(self, budget: float | None, used: int) -> tuple[OfSettings, ...]:
        """From one setting to as many as the plan without a limit has."""
        free = self.planner.plan(None, budget, _part(self.clock, 0.2))
        curve: list[OfSettings] = []
        for at_most in range(1, min(_CURVE, max(free.settings, used)) + 1):
            if self.clock.expired():
                break
            one = self.planner.plan(at_most, budget, _part(self.clock, 0.2))
            bound = one.bound[1] if one.bound[0] >= one.excess else 0.0
            curve.append(OfSettings(at_most, one.loss, bound, one.price))
            if one.loss <= free.loss + _SAME:
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
            plan = self.planner.plan(at_most, budget, _part(self.clock, 0.2))
            bound = plan.bound[1] if plan.bound[0] >= plan.excess else 0.0
            curve.append(OfBudget(budget, plan.loss, bound, plan.price))
        return tuple(curve)

    def _buys(self) -> list[Buy]:
        """Each visit and each option for itself, what saves most for its price first."""
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
        return sorted(found, key=lambda one: -_worth(one.saves, one.price))


def _worth(saves: float, price: float) -> float:
    """Loss saved for money; without a price the loss itself, and more than any with one."""
    return saves / price if price else saves * 1e9
