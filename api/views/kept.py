"""Answers that are kept: one resource for each question, and for those about a whole batch.

Each has four endpoints: create (a worker answers while the client waits, or later), list, read and
delete.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from sqlalchemy import RowMapping

from strategist import QUESTIONS, Kept, Question

from ..answers import Late, Pending, of_batch, of_job, page_of, stored
from ..at_point import (
    at_point,
    finished_batch,
    read_points_of,
    refuse_unknown_point,
    strategy_file,
    strategy_of,
    survey_row,
)
from ..endpoints import Answer, Ask, Endpoint
from ..interactive import begin, begun, dropped, kept_one, kept_page, made, wait_for
from ..limits import INTERACTIVE_TIME_S
from ..models import (
    ComparisonRequest,
    CrossReadsRequest,
    Entry,
    PageQuery,
    SitePlanRequest,
    TemplatesRequest,
    request_of,
)
from ..store.jobs import Job

Prepared = tuple[RowMapping | None, dict[str, Any]]  # the survey, and the request as it is kept


@dataclass(frozen=True)
class Resource:
    """What is kept, the model of what is given, and how a request becomes a job.

    `in_batches`: answers may be parts of batches, and are then listed before they are there.
    """

    kept: Kept
    summary: str
    body: Any
    gives: Late
    prepare: Callable[[Ask], Prepared]
    problems: tuple[str, ...] = ()
    in_batches: bool = False

    def endpoints(self) -> tuple[Endpoint, ...]:
        kept, path = self.kept, f"/v1/{self.kept.path}"
        item, page = f"{path}/{{{kept.kind}_id}}", page_of(self.gives)
        waits, in_use = ("queue-full", "no-time"), ("in-use",) if self.in_batches else ()
        one = kept.one[0].upper() + kept.one[1:]
        later = self.gives if self.in_batches else Pending

        def declared(method: Any, at: str, view: Any, summary: str, **more: Any) -> Endpoint:
            tag, name = kept.path, f"{kept.path.replace('-', '_')}.{view.__name__}"
            return Endpoint(method, at, view, summary, tag, name=name, **more)

        return (
            declared(
                *("POST", path, self.create, self.summary),
                gives={201: self.gives, 202: later},
                body=self.body,
                problems=(*waits, *self.problems),
                later=True,
            ),
            declared(
                *("GET", path, self.list_all, f"Your {kept.many}, newest first."),
                gives={200: page},
                query=PageQuery,
            ),
            declared(
                *("GET", item, self.read, f"{one}, or how far it is."),
                gives={200: self.gives} if self.in_batches else {200: self.gives, 202: Pending},
                problems=() if self.in_batches else ("no-time",),
            ),
            declared(
                *("DELETE", item, self.remove, f"Delete {kept.one}."),
                gives={204: None},
                problems=in_use,
            ),
        )

    def create(self, ask: Ask) -> Answer:
        body, kept = ask.body, self.kept
        survey, request = self.prepare(ask)
        new, point = ask.new_id(kept.prefix), getattr(body, "read_point", "")
        job = Job(new, kept.kind, survey, point, request, label=body.label)
        options = getattr(body, "options", None)
        seconds = INTERACTIVE_TIME_S if options is None else options.time_limit_s
        if ask.later:
            row = begin(ask, job, seconds)
            return begun(ask, kept.path, row, unfinished=self.in_batches)
        return made(ask, kept.path, wait_for(ask, job, seconds))

    def list_all(self, ask: Ask) -> Answer:
        return kept_page(ask, self.kept.kind)

    def read(self, ask: Ask) -> Answer:
        return kept_one(ask, self.kept.kind, unfinished=self.in_batches)

    def remove(self, ask: Ask) -> Answer:
        return dropped(ask, self.kept.kind)


def _of_point(question: Question, ask: Ask) -> Prepared:
    """A question at a read point: its strategy, its parameters, its options."""
    body = ask.body
    survey, request = at_point(ask, body), dict[str, Any]()
    if question.takes_strategy:
        strategy = strategy_of(ask, body).to_json()
        request = {"strategy": strategy, "strategy_id": body.strategy_id}
    for one in question.parameters:
        value = request[one.key] = getattr(body, one.key)
        if one.names_case and value is not None:
            older = read_points_of(survey_row(ask, value, one.key))
            refuse_unknown_point(older, body.read_point, one.key)
    if question.solves is not None:
        request["options"] = body.options.model_dump()
    return survey, request


def _of_sides(ask: Ask) -> Prepared:
    """The sides of a comparison, each a strategy or the weights that one is solved for under."""
    body: ComparisonRequest = ask.body
    survey = at_point(ask, body)
    entries = [_side(ask, entry, number) for number, entry in enumerate(body.entries)]
    return survey, {"entries": entries, "options": body.options.model_dump()}


def _side(ask: Ask, entry: Entry, number: int) -> dict[str, Any]:
    """What the worker needs of an entry: strategies as JSON, or weights."""
    asked: dict[str, Any] = {"name": entry.name, "strategy": None, "sturdier": None, "loss": None}
    if entry.loss is not None:
        return asked | {"loss": asdict(entry.loss)}
    file = strategy_file(ask, entry, "entries", number)
    sturdier = None if file.sturdier is None else file.sturdier.to_json()
    return asked | {"strategy": file.strategy.to_json(), "sturdier": sturdier}


def _of_batch(keys: tuple[str, ...], ask: Ask) -> Prepared:
    """What is asked of a batch that is done."""
    finished_batch(ask, ask.body.batch)
    body = ask.body.model_dump()
    return None, {key: body[key] for key in keys}


def _of_site(ask: Ask) -> Prepared:
    """What is asked of a whole survey; each option's survey is the client's, too."""
    body: SitePlanRequest = ask.body
    survey = survey_row(ask, body.survey, "survey")
    for case, option in body.option_surveys.items():
        survey_row(ask, option, "option_surveys", case)
    keys = ("at_most", "budget", "option_surveys", "options")
    return survey, {key: value for key, value in body.model_dump().items() if key in keys}


def _of_question(question: Question, kept: Kept) -> Resource:
    what = question.what[0].upper() + question.what[1:]
    is_solve = kept.kind == "strategy"  # those of batches are strategies, too
    return Resource(
        kept,
        f"{what}.",
        request_of(question, kept),
        of_job(kept, question.gives) if is_solve else stored(kept, question.gives),
        partial(_of_point, question),
        in_batches=is_solve,
    )


_COMPARISONS = Kept("comparisons", "comparison", "co", "a comparison", "comparisons")
_TEMPLATES = Kept("templates", "templates", "te", "templates of a batch", "templates")
_CROSS_READS = Kept("cross-reads", "cross_reads", "cr", "the cross-reads of a batch", "cross-reads")
_SITE_PLANS = Kept("site-plans", "site_plan", "sp", "a plan of a site", "plans of sites")
_RESOURCES = (
    *(_of_question(one, one.kept) for one in QUESTIONS if one.kept is not None),
    Resource(
        _COMPARISONS,
        "What given strategies, and the best ones under other weights, would do at a read point.",
        ComparisonRequest,
        stored(_COMPARISONS, ("Comparison",)),
        _of_sides,
    ),
    Resource(
        _TEMPLATES,
        "At most so many strategies for all read points of a batch, of the least summed loss.",
        TemplatesRequest,
        of_batch(_TEMPLATES, ("SiteTemplates",)),
        partial(_of_batch, ("batch", "at_most", "max_extra_loss", "options")),
        ("not-done",),
    ),
    Resource(
        _SITE_PLANS,
        "What to set at each reader of a site, so that shared parts agree, settings are few and "
        "money is kept.",
        SitePlanRequest,
        stored(_SITE_PLANS, ("SitePlan",)),
        _of_site,
    ),
    Resource(
        _CROSS_READS,
        "Which read points of a batch read each other's wanted tags, and what suppresses that.",
        CrossReadsRequest,
        of_batch(_CROSS_READS, ("CrossReads",)),
        partial(_of_batch, ("batch",)),
        ("not-done",),
    ),
)
ENDPOINTS = tuple(endpoint for one in _RESOURCES for endpoint in one.endpoints())
