"""All that a report page shows, as plain JSON values: every figure of the page is one of these."""

from __future__ import annotations

import heapq
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from strategist.answers.by_antenna import antenna_settings, cutoff_words, listening
from strategist.answers.compare import Side, compare
from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.optimise.strategy_file import parse_strategy_file
from strategist.report.given_results import GivenResult
from strategist.survey.order import figure, some
from strategist.survey.policy import Policy
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from strategist.trust.evaluation import Evaluation, evaluate_at
from strategist.trust.picture import picture_of
from strategist.trust.steps import steps_of

_STATUS = {
    "feasible": "not proven the best: time ran out",
    "infeasible": "no settings keep its limits: do not install these as they are",
    "undecided": "not known to keep its limits: time ran out",
}
_NOT_TODAY: dict[str, Any] = {"comparison": None, "not_today": None}
_COUNTS = ("passes", "wanted", "missed", "stray_presented", "stray")


@dataclass(frozen=True)
class Backing:
    """What a report may draw from beside the results.

    `points` are surveys, with the name of the case that each is of; `today` the settings in use,
    by read point (None: at each read point with a survey); `frontiers` are the JSON values of
    frontiers; `sites` the names of the sites, by case.
    """

    points: Sequence[tuple[str, ReadPoint]] = ()
    today: Sequence[tuple[str | None, Strategy]] = ()
    frontiers: Sequence[Mapping[str, Any]] = ()
    sites: Mapping[str, str] = field(default_factory=dict)


def report_document(
    given: Iterable[GivenResult],
    backing: Backing | None = None,
    at_most: int | None = None,
    *,
    made_on: str | None = None,
) -> dict[str, Any]:
    """The document of a report, read points with the largest loss first.

    `at_most` read points and as many errors are told, `summary` counts them all; `made_on` is the
    day of the page (ISO date; None: not said). Raises InputError
    where a survey is not the one that a result was made from, and where today's settings of a named
    read point use a level that was not surveyed.
    """
    backing = backing or Backing()
    totals: Counter[str] = Counter(
        dict.fromkeys((*_COUNTS, "answered", "failed", "loss", "silent"), 0)
    )
    errors: list[GivenResult] = []
    worst: list[tuple[float, int, GivenResult]] = []
    for number, one in enumerate(given):
        if one.result is None:
            totals["failed"] += 1
            if at_most is None or len(errors) < at_most:
                errors.append(one)
            continue
        silent = one.result.get("status") == "silent"
        totals.update({"answered": 1, "loss": one.result["loss"], "silent": int(silent)})
        totals.update({name: one.result["outcome"][name] for name in _COUNTS})
        heapq.heappush(worst, (one.result["loss"], -number, one))
        if at_most is not None and len(worst) > at_most:
            heapq.heappop(worst)
    points = [_point(one, one.result or {}, backing) for *_, one in sorted(worst, reverse=True)]
    return {
        "sites": list(dict.fromkeys(point["site"] for point in points if point["site"])),
        "made_on": made_on,
        "summary": {
            "read_points": totals["answered"] + totals["failed"],
            **totals,
            "to_visit": sum(bool(point["visit"]) for point in points),
            "left_out": totals["answered"] - len(points),
            "errors_left_out": totals["failed"] - len(errors),
        },
        "read_points": points,
        "errors": [
            {"case": one.case, "read_point": one.read_point, "message": one.error} for one in errors
        ],
    }


def _point(given: GivenResult, result: Mapping[str, Any], backing: Backing) -> dict[str, Any]:
    kept = parse_strategy_file(json.dumps(result).encode(), given.source)
    strategy, sturdier = kept.strategy, kept.sturdier
    found = _survey_of(given, backing)
    point = None if found is None else found[1]
    if found is not None:
        _refuse_other(found[0], evaluate_at(found[1], strategy), result)
    case = given.case if found is None else found[0]
    return {
        "site": given.site or backing.sites.get(case or "") or None,
        "case": case,
        "read_point": given.read_point,
        "visit": reasons_to_visit(result, point.policy if point else None),
        "masks": [_bits(mask) for mask in strategy.masks],
        "by_antenna": _rows(strategy),
        "cutoff": cutoff_words(strategy),
        "sturdier_by_antenna": _rows_beside(sturdier or strategy, strategy),
        "sturdier_cutoff": cutoff_words(sturdier or strategy),
        "loss_weights": None if point is None else _weights(point.policy),
        "result": dict(result),
        "picture": None if point is None else picture_of(point, strategy).to_json(),
        **(_NOT_TODAY if point is None else _today(point, strategy, backing)),
        "frontier": next(
            (one for one in backing.frontiers if one["read_point"] == given.read_point), None
        ),
    }


def _survey_of(given: GivenResult, backing: Backing) -> tuple[str, ReadPoint] | None:
    """The survey of a result: by case where its line names one, else the one of its name."""
    named = [one for one in backing.points if one[1].name == given.read_point]
    if len(named) > 1:
        of_case = [one for one in named if one[0] == given.case]
        if len(of_case) != 1:
            cases = ", ".join(case for case, _ in named)
            wrong = f"{len(named)} cases have a read point {given.read_point}: {cases}"
            raise InputError.one("surveys", cases, "one of them", wrong=wrong)
        named = of_case
    return named[0] if named else None


def _refuse_other(case: str, found: Evaluation, result: Mapping[str, Any]) -> None:
    """Raise InputError where the survey does not give the counts of the result."""
    counted = found.outcome.to_json()
    for name in _COUNTS:
        if counted[name] != result["outcome"][name]:
            value = f"{counted[name]} {name.replace('_', ' ')} at {found.read_point}"
            wrong = f"has {value}, and the result has {result['outcome'][name]}"
            allowed = "the survey that the result was made from"
            raise InputError.one(case, value, allowed, wrong=wrong)


def reasons_to_visit(result: Mapping[str, Any], policy: Policy | None = None) -> list[str]:
    """Why somebody should go there, in sentences: a status short of proven, weak findings and
    warnings. Of a result that was evaluated, the policy says whether a limit is exceeded."""
    return list(_visit(result, policy))


def _visit(result: Mapping[str, Any], policy: Policy | None) -> Iterator[str]:
    status = result.get("status")
    if status in _STATUS:
        yield _STATUS[status]
    elif policy is not None:
        outcome = result["outcome"]
        if policy.limits.excess(outcome["missed_rate"], outcome["stray_rate"]) > 0:
            yield "a hard limit is exceeded"
    weak = [one["text"] for one in result.get("findings") or () if one["severity"] == "weak"]
    yield from dict.fromkeys([*weak, *result["warnings"]])


def _rows(strategy: Strategy) -> list[list[str]]:
    """How long it listens, and its settings by antenna, labels first."""
    told = (*listening(strategy), *antenna_settings(strategy))
    return [[label.capitalize(), text] for label, text in told]


def _rows_beside(strategy: Strategy, best: Strategy) -> list[list[str]]:
    """The same of a strategy beside the best, which may tell antennas apart where it does not."""
    together = strategy.score is None and best.score is not None
    first = [["Antennas", "all on; the strongest read of any counts"]] if together else []
    return [*first, *_rows(strategy)]


def _bits(mask: Mask) -> dict[str, Any]:
    """A mask with its value in bits, by fours from the first."""
    bits = f"{mask.value:0{mask.length}b}"
    spaced = " ".join(bits[start : start + 4] for start in range(0, mask.length, 4))
    return {**mask.to_json(), "bits": spaced}


def _weights(policy: Policy) -> dict[str, float]:
    return {"missed": policy.loss.missed, "stray": policy.loss.stray}


def _today(point: ReadPoint, strategy: Strategy, backing: Backing) -> dict[str, Any]:
    """The comparison of today's settings with the strategy, or why there is none (`not_today`).

    Settings that are meant for every read point may use levels that were not surveyed at one.
    """
    found = dict(_NOT_TODAY)
    for name, today in backing.today:
        if name is not None and name != point.name:
            continue
        sides = [Side("today", today, "today's settings"), Side("proposed", strategy)]
        try:
            return found | {"comparison": compare(point, sides).to_json()}
        except InputError as error:
            if name is not None:
                raise
            found["not_today"] = _why_not(point, today) or str(error.faults[0])
    return found


def _why_not(point: ReadPoint, today: Strategy) -> str:
    """Which of today's levels nobody surveyed, as a sentence; empty where all were."""
    steps = steps_of(point, today.levels_dbm).levels
    lacking = [figure(step.power_dbm) for step in steps if step.known == "not_surveyed"]
    return f"They use {some(lacking)} dBm, which was not surveyed here." if lacking else ""
