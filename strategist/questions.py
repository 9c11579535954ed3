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
from strategist.trust.rate_limit import RATE_LIMIT

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
class Parameter:
    """A part of a question of its own: a key of requests, and an option of the command.

    `between` are the bounds of a number in a request; the option takes one that `fits`. A value
    that `is_map` holds at most `CHANGES_MAX` keys, and the option, KEY=VALUE, is repeated. One that
    `names_case` is a case in the option, the id of a survey in a request, and its read point for
    the question.
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
    `words` of its answer for a person (the last of several read points has a caution).

    `gives` are the public names of its answers. `solves` says which options of solving it takes:
    all, those of several solves, or the time limit alone. `takes_strategy`: it is about one that is
    given. `passed` says whether the answer is a good one, for the exit status.
    """

    name: str
    what: str
    answer: Callable[[strategist.ReadPoint, Asked], Declared]
    words: Callable[[Any, strategist.ReadPoint, bool], str]
    gives: tuple[str, ...]
    solves: Literal["all", "several", "time"] | None = None
    takes_strategy: bool = False
    parameters: tuple[Parameter, ...] = ()
    passed: Callable[[Any], bool] = lambda _: True
    in_processes: bool = False
    kept: Kept | None = None


def _what_if(point: strategist.ReadPoint, asked: Asked) -> Declared:
    sets, cable_db = asked.parameters["set"], asked.parameters["cable_db"]
    options = replace(asked.options or strategist.Options(), unseen=False)
    if not (sets or cable_db):
        return strategist.usual_what_ifs(point, options)
    return strategist.what_if(point, sets, cable_db=cable_db, options=options)


def _what_if_words(found: Any, point: strategist.ReadPoint, last: bool) -> str:
    text = strategist.what_if_text if hasattr(found, "changes") else strategist.what_ifs_text
    return text(found, caution=last)


_CHANGES = (
    Parameter(
        "set",
        {},
        "Keys of the read point as in site.json, with dots (reader.mask_slots), and their new "
        "values.",
        "--set",
        "KEY=VALUE",
        "a key of the read point in site.json, as reader.mask_slots=4; may be repeated",
        is_map=True,
    ),
    Parameter(
        "cable_db",
        0.0,
        "How much more the cable loses.",
        "--cable-db",
        "DB",
        "how much more the cable loses (-2: 2 dB less)",
        (-60.0, 60.0),
        "a number of dB",
        lambda found: abs(found) <= 60,
    ),
)
_SHARE = "a share above 0 and below 1"
_ACCEPTANCE = (
    Parameter(
        "rate_limit",
        RATE_LIMIT,
        "Share of passes with a miss.",
        "--rate",
        "R",
        "share of passes with a miss to show (0.05)",
        (1e-6, 0.999),
        _SHARE,
        lambda found: 0 < found < 1,
    ),
    Parameter(
        "confidence",
        0.95,
        "Of the verdict.",
        "--confidence",
        "C",
        "of the verdict (0.95)",
        (0.5, 0.999999),
        _SHARE,
        lambda found: 0 < found < 1,
    ),
    Parameter(
        "against",
        None,
        "An older survey with the same read point.",
        "--against",
        "CASE",
        "the survey that the strategy came from: what has moved?",
        names_case=True,
    ),
)

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
        lambda point, asked: strategist.choose(point, asked.options),
        lambda found, point, last: strategist.result_text(found, point.policy, caution=last),
        ("Assessment",),
        solves="all",
        kept=Kept("strategies", "strategy", "st", "a strategy with its proof", "strategies"),
    ),
    Question(
        "judge",
        "solve, then say how far to trust the answer and what to measure next",
        lambda point, asked: strategist.judge(point, asked.options, asked.mapped),
        lambda found, point, last: strategist.judged_text(found, point.policy, caution=last),
        ("Judged",),
        solves="all",
        in_processes=True,
        kept=Kept("judgements", "judgement", "ju", "a judgement", "judgements"),
    ),
    Question(
        "frontier",
        "list every compromise of missed and stray tags that no other betters",
        lambda point, asked: strategist.trace_frontier(point, asked.options),
        lambda found, _, last: strategist.frontier_text(found, caution=last),
        ("Frontier",),
        solves="time",
        kept=Kept("frontiers", "frontier", "fr", "a frontier", "frontiers"),
    ),
    Question(
        "techniques",
        "compare the best strategies with some techniques only, and with fewer masks",
        lambda point, asked: strategist.compare_techniques(point, asked.options),
        lambda found, _, last: strategist.techniques_text(found, caution=last),
        ("Techniques",),
        solves="several",
        kept=Kept(
            "techniques",
            "techniques",
            "tq",
            "a comparison of techniques",
            "comparisons of techniques",
        ),
    ),
    Question(
        "what-if",
        "solve again with something changed, and say what that changes; without --set and "
        "--cable-db: what planners ask most, one after the other",
        _what_if,
        _what_if_words,
        ("WhatIf", "WhatIfs"),
        solves="several",
        parameters=_CHANGES,
        kept=Kept("what-ifs", "what_if", "wi", "a what-if", "what-ifs"),
    ),
    Question(
        "evaluate",
        "say what a given strategy would do",
        lambda point, asked: strategist.evaluate_at(point, asked.strategy),
        lambda found, point, _: strategist.evaluation_text(found, point.policy),
        ("Evaluation",),
        takes_strategy=True,
        kept=Kept("evaluations", "evaluation", "ev", "an evaluation", "evaluations"),
    ),
    Question(
        "accept",
        "judge a new survey under the strategy installed: pass, fail or not enough",
        lambda point, asked: strategist.accept(point, asked.strategy, **asked.parameters),
        lambda found, *_: strategist.acceptance_text(found),
        ("AcceptanceRun",),
        takes_strategy=True,
        parameters=_ACCEPTANCE,
        passed=lambda found: bool(found.passed),
        kept=Kept("acceptances", "acceptance", "ac", "an acceptance run", "acceptance runs"),
    ),
)
