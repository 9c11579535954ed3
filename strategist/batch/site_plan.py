"""The plan of a whole site: readers solved by the workers of a batch, then the site over them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from strategist.batch.engine import carry_out, engine_for
from strategist.batch.site_answer import SitePlan
from strategist.batch.site_posed import Posed
from strategist.batch.site_told import InWords, part_of
from strategist.errors import Fault, InputError, SolveError
from strategist.optimise.clock import Clock
from strategist.optimise.site.plan import Map, SitePlanner
from strategist.optimise.site.reader import Columns, ReaderTask
from strategist.survey.case import Case

__all__ = ["mapped", "plan_site", "planner_of"]

_MAIN = 0.5  # of the time, for readers and the plan that is asked for
_FIRST = 0.2  # of it, for the survey where passes to come are planned for


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
    given are left out, and a note says so. Losses follow the aim of each read point: those of the
    passes surveyed, each once, or those to expect in as many passes, over copies of the survey
    drawn with the `seed`, as in `solve`.
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
    posed = Posed.of(case, options or {}, seed)
    several = len(posed.problem.readers) > 1
    run = partial(mapped, workers if several else 0, scheduler)
    planner = planner_of(posed, clock, seed, run, max(1, workers))
    plan = planner.plan(at_most, budget, part_of(clock, _MAIN))
    return InWords(case, posed, planner, plan, clock).made(at_most, budget)


def planner_of(posed: Posed, clock: Clock, seed: int, run: Map, places: int) -> SitePlanner:
    """The planner of a case. Where passes to come are planned for, the survey is solved first: it
    is sooner done, and its strategies are a start."""
    known: list[Columns] = []
    if posed.over_survey is not None:
        share = part_of(clock, _FIRST)
        first = SitePlanner(posed.over_survey, share, seed, run, places=places)
        known = [tuple(x for one in some for x in one.columns) for some in first.solved]
    return SitePlanner(posed.problem, clock, seed, run, known, places)


def mapped(
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
