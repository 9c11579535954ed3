"""The questions that can be asked of a read point, one row each.

From a row follow the sub-command with its options, the resource of the HTTP API (create, list,
read, delete) with its request, and the description of both. To add a question: write its function,
declare its answer, add its row. Functions are named through the package: the table loads none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import strategist
from strategist.errors import InputError
from strategist.trust.miss_rate_max import MISS_RATE_MAX

if TYPE_CHECKING:
    from strategist.survey.answer import Declared

CHANGES_MAX = 50  # keys set in a what-if
Map = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[Any]]


@dataclass(frozen=True)
class Asked:
    """What goes with a question: how to solve, the strategy given, parameters by their keys.

    `mapped` runs what is repeated: the built-in `map`, or that of a pool of processes.
    """

    options: strategist.Options | None = None
    strategy: Any = None
    parameters: Mapping[str, Any] = field(default_factory=dict)
    mapped: Map = map


@dataclass(frozen=True)
class Shown:
    """How an answer is put in words: the `last` of several read points has the caution,
    `detail` asks for what is rarely read."""

    last: bool = True
    detail: bool = False


@dataclass(frozen=True)
class Parameter:
    """A part of a question of its own: a key of requests, and an option of the command.

    `between` are the bounds of a number in a request; the option takes one that `fits`. A value
    that `is_map` holds at most `CHANGES_MAX` keys, and the option, KEY=VALUE, is repeated. One that
    `names_case` is a case in the option, the id of a survey in a request, and its read point for
    the question. One with `choices` is one of them, or None.
    """

    key: str
    default: Any
    says: str
    option: str
    metavar: str
    help: str
    between: tuple[float, float] | None = None
    allowed: str = ""
    fits: Callable[[float], bool] | None = None
    is_map: bool = False
    names_case: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Kept:
    """The resource that keeps answers: `path` in URLs, `kind` of job, `prefix` of ids.

    `one` and `many` call the answers in words.
    """

    path: str
    kind: str
    prefix: str
    one: str
    many: str


@dataclass(frozen=True)
class Question:
    """One question: the command's `name`, `what` it does, the function that `answer`s it, and the
    `words` of its answer for a person (`detailed`: with more of them if asked for).

    `gives` are the public names of its answers. `solves` says which options of solving it takes:
    all, or those of several solves. `takes_strategy`: it is about one that is given. `holds` says
    whether the answer is a good one, for the exit status.
    """

    name: str
    what: str
    answer: Callable[[strategist.ReadPoint, Asked], Declared]
    words: Callable[[Any, strategist.ReadPoint, Shown], str]
    gives: tuple[str, ...]
    solves: Literal["all", "several"] | None = None
    takes_strategy: bool = False
    parameters: tuple[Parameter, ...] = ()
    holds: Callable[[Any], bool] = lambda _: True
    in_processes: bool = False
    detailed: bool = False
    kept: Kept | None = None


def _trade_offs(point: strategist.ReadPoint, asked: Asked) -> Declared:
    sets, cable = asked.parameters["set"], asked.parameters["added_cable_loss_db"]
    view = asked.parameters["view"] or ("changes" if sets or cable else "counts")
    options = replace(asked.options or strategist.Options(), unseen=False)
    if view == "techniques" and (sets or cable):
        wrong = "techniques are told of the read point as it is, and something is changed"
        todo = "Give counts or changes, or leave the changes out."
        raise InputError.one("view", view, todo, wrong=wrong)
    if view == "counts":
        return strategist.trace_frontier(point, options, sets, added_cable_loss_db=cable)
    if view == "techniques":
        return strategist.compare_techniques(point, options)
    if not (sets or cable):
        return strategist.usual_what_ifs(point, options)
    return strategist.what_if(point, sets, added_cable_loss_db=cable, options=options)


def _trade_off_words(found: Any, _: strategist.ReadPoint, shown: Shown) -> str:
    texts: Mapping[str, Callable[..., str]] = {
        "Frontier": strategist.frontier_text,
        "Techniques": strategist.techniques_text,
        "WhatIf": strategist.what_if_text,
        "WhatIfs": strategist.what_ifs_text,
    }
    return texts[type(found).__name__](found, caution=shown.last)


VIEWS = ("counts", "techniques", "changes")
_OF_TRADE_OFFS = (
    Parameter(
        "view",
        None,
        "counts: the non-dominated trade-offs between missed and stray tags; techniques: the best "
        "strategy with some techniques only; changes: the answer again with something changed, by "
        "set and added_cable_loss_db, or what planners ask most. Null: changes where something is "
        "changed, else counts; counts takes changes, too.",
        "--view",
        "VIEW",
        "counts: missed against stray tags (the default); techniques: what each technique buys; "
        "changes: the answer again with something changed (what planners ask most, or as given "
        "by --set and --added-cable-loss)",
        choices=VIEWS,
    ),
    Parameter(
        "set",
        {},
        "Keys of the read point as in site.json, with dots (reader.mask_slots), and their new "
        "values.",
        "--set",
        "KEY=VALUE",
        "a key of the read point in site.json, e.g. reader.mask_slots=4; may be repeated",
        is_map=True,
    ),
    Parameter(
        "added_cable_loss_db",
        0.0,
        "How much more the cable loses.",
        "--added-cable-loss",
        "DB",
        "how much more the cable loses (-2: 2 dB less)",
        (-60.0, 60.0),
        "a number of dB from -60 to 60",
        lambda found: abs(found) <= 60,
    ),
)
_RATES, _CONFIDENCES = (1e-6, 0.999), (0.5, 0.999999)
_ACCEPTANCE = (
    Parameter(
        "miss_rate_max",
        MISS_RATE_MAX,
        "Share of passes with a miss that is acceptable.",
        "--miss-rate-max",
        "R",
        "share of passes with a miss that is acceptable, e.g. 0.02 (default: 0.05)",
        _RATES,
        "a share from 0.000001 to 0.999",
        lambda found: _RATES[0] <= found <= _RATES[1],
    ),
    Parameter(
        "confidence",
        0.95,
        "Confidence of the verdict.",
        "--confidence",
        "C",
        "confidence of the verdict (default: 0.95)",
        _CONFIDENCES,
        "a share from 0.5 to 0.999999",
        lambda found: _CONFIDENCES[0] <= found <= _CONFIDENCES[1],
    ),
    Parameter(
        "against",
        None,
        "An older survey with the same read point.",
        "--against",
        "CASE",
        "the survey that the strategy came from: says what has drifted since",
        names_case=True,
    ),
)


def _number(
    key: str, default: float | None, says: str, unit: tuple[str, str], high: float
) -> Parameter:
    """A number from 0, whose option has the key's name; its `unit` in help, and in words."""
    option, help_ = (
        f"--{key.replace('_', '-')}",
        f"{says[0].lower()}{says[1:-1]}".replace("%", "%%"),
    )
    metavar, what = unit
    allowed = f"{what} from 0 to {high:,.0f}"
    return Parameter(
        key, default, says, option, metavar, help_, (0.0, high), allowed, lambda x: 0 <= x <= high
    )


_OF_PLAN = (
    _number("within", None, "Loss over the passes surveyed that is too little to measure for "
            "(by default one missed tag, or 5 % of the loss).", ("LOSS", "a loss"), 1e9),
    _number("minutes_a_pass", 3.0, "Minutes to present a pass (by default 3).",
            ("MINUTES", "a number of minutes"), 1440),
    _number("seconds_a_level", 5.0, "Seconds to listen at a level (by default 5).",
            ("S", "a number of seconds"), 3600),
)  # fmt: skip


def _plan(point: strategist.ReadPoint, asked: Asked) -> Declared:
    within, *times = (asked.parameters[one.key] for one in _OF_PLAN)
    effort = strategist.Effort(*times)
    return strategist.plan_survey(point, asked.options, within=within, effort=effort)


QUESTIONS = (
    Question(
        "masks",
        "list the fields of the tags and the masks that may be chosen",
        lambda point, _: strategist.list_masks(point),
        lambda found, *_: strategist.masks_text(found),
        ("MaskList",),
    ),
    Question(
        "solve",
        "find the best strategy and prove it",
        lambda point, asked: strategist.choose(point, asked.options, mapped=asked.mapped),
        lambda found, point, shown: strategist.result_text(
            found, point.policy, detail=shown.detail, caution=shown.last
        ),
        ("Assessment",),
        solves="all",
        in_processes=True,
        detailed=True,
        kept=Kept("strategies", "strategy", "st", "a strategy with its proof", "strategies"),
    ),
    Question(
        "assess",
        "say how far to trust the best strategy: how it does on passes and tags held out of the "
        "choice, what is weak in the survey, what to measure next",
        lambda point, asked: strategist.assess_fully(point, asked.options, asked.mapped),
        lambda found, _, shown: strategist.full_assessment_text(found, caution=shown.last),
        ("FullAssessment",),
        solves="all",
        in_processes=True,
        kept=Kept("assessments", "assessment", "as", "an assessment", "assessments"),
    ),
    Question(
        "trade-offs",
        "show what other strategies would cost: fewer misses or fewer strays, fewer techniques, "
        "other conditions",
        _trade_offs,
        _trade_off_words,
        ("Frontier", "Techniques", "WhatIf", "WhatIfs"),
        solves="several",
        parameters=_OF_TRADE_OFFS,
        kept=Kept("trade-offs", "trade_offs", "tr", "an answer on trade-offs", "trade-offs"),
    ),
    Question(
        "plan",
        "say what to measure next at a read point that is surveyed in part, and when it is enough; "
        "where CASE has site.json alone: what to measure first",
        _plan,
        lambda found, *_: strategist.survey_plan_text(found),
        ("SurveyPlan",),
        solves="several",
        parameters=_OF_PLAN,
        kept=Kept("plans", "plan", "pl", "a plan of measurements", "plans of measurements"),
    ),
    Question(
        "accept",
        "hold a new survey of the installed strategy against a limit: accepted, rejected or "
        "inconclusive; without CASE: how many passes such a run needs",
        lambda point, asked: strategist.accept(point, asked.strategy, **asked.parameters),
        lambda found, *_: strategist.acceptance_text(found),
        ("AcceptanceRun",),
        takes_strategy=True,
        parameters=_ACCEPTANCE,
        holds=lambda found: bool(found.accepted),
        kept=Kept("acceptances", "acceptance", "ac", "an acceptance run", "acceptance runs"),
    ),
)
