"""Results as a report takes them: JSON of `solve` or `assess`, of `compare` with one
strategy, or lines of a batch."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, TypeAdapter, create_model

from strategist.answers.assessment import Assessment
from strategist.answers.frontier import Frontier, FrontierPoint, RatioRange
from strategist.answers.full_assessment import FullAssessment
from strategist.answers.sturdier import Sturdier
from strategist.errors import InputError, MalformedError
from strategist.radio.exposure import ExposureDistance, NoDistance
from strategist.radio.lawful import Lawful
from strategist.report.output import is_sealed
from strategist.survey.answer import reading
from strategist.survey.findings import Finding
from strategist.survey.json_text import parse_json
from strategist.trust.evaluate import Outcome
from strategist.trust.evaluation import Evaluation
from strategist.trust.folds import CrossValidation
from strategist.trust.foreseen import Foreseen
from strategist.trust.guarded import GuardedOutcome, StandIn
from strategist.trust.intervals import Rate
from strategist.trust.margins import Margins, OfPower, OfRssi, PowerMargin, RssiMargin
from strategist.trust.on_air import LadderTime
from strategist.trust.rates import Rates
from strategist.trust.worst_case import WorstCase


@dataclass(frozen=True)
class GivenResult:
    """A read point's result as plain JSON values, or the `error` in its place; `case` and the name
    of the `site` are known of a batch's lines alone. `source` is the file."""

    source: str
    case: str | None
    read_point: str | None
    result: Mapping[str, Any] | None
    error: str | None = None
    site: str | None = None


_RESULT = "read_point loss strategy outcome guarded_loss guarded rates margins warnings"
_NEEDED = {  # of each answer what the page cannot do without
    Evaluation: _RESULT,
    Assessment: _RESULT,
    FullAssessment: _RESULT,
    Outcome: "passes wanted missed stray_presented stray missed_rate stray_rate",
    GuardedOutcome: "power_db rssi_db loss missed stray stand_ins",
    StandIn: "role asked_dbm used_dbm",
    WorstCase: "loss missed stray",
    Rates: "missed_by_tag missed_by_pass stray_by_pass stray_per_pass sentences",
    Rate: "events trials rate low high confidence",
    Margins: "power rssi",
    OfPower: "wanted stray",
    OfRssi: "wanted stray",
    PowerMargin: "holds_db fails_db pass_id epc others",
    RssiMargin: "db pass_id epc",
    Finding: "severity text advice",
    CrossValidation: "folds held_out",
    Lawful: "reason caution",
    ExposureDistance: "caution",
    NoDistance: "caution",
    LadderTime: "expected_s worst_s step_worst_s dwell_s fits",
    Foreseen: "steps_dbm",
    Sturdier: "strategy mask_words gives_up gains",
    Frontier: "read_point points",
    FrontierPoint: "missed stray loss best_for",
    RatioRange: "low high",
}
_shapes = reading([Evaluation, Assessment, FullAssessment, Frontier], _NEEDED)
_EVALUATION, _SOLVED, _ASSESSED, _FRONTIER = (TypeAdapter[Any](shape) for shape in _shapes)


class _Error(BaseModel):
    message: str


def _line(result: Any) -> TypeAdapter[Any]:
    keys: Any = {
        "case": (str, ...),
        "read_point": (str | None, ...),
        "result": (result | None, None),
        "error": (_Error | None, None),
        "site": (str | None, None),
    }
    config = ConfigDict(strict=True, allow_inf_nan=False)
    return TypeAdapter(create_model("Line", __config__=config, **keys))


_LINE = _line(_shapes[1])
_ANY: TypeAdapter[Any] = TypeAdapter(Any)


def parse_results(data: bytes, source: str) -> list[GivenResult]:
    """The results in a JSON text, or in the lines of a batch; raises InputError with every fault.

    `source` is the file's name: in one that ends in .jsonl each line is one of a batch.
    """
    data = data.removeprefix(b"\xef\xbb\xbf")
    if source.endswith(".jsonl"):
        return list(_lines(data, source))
    found = parse_json(data, _ANY, source)
    given = found if isinstance(found, list) else [found]
    if not given:
        raise InputError.one(source, "[]", "one result or more", wrong="holds no result")
    return [_one(result, source) for result in given]


def _one(found: Any, source: str) -> GivenResult:
    if isinstance(found, dict) and "rows" in found:
        found = _evaluated(found, source)
    if isinstance(found, dict) and "levels_dbm" in found and "strategy" not in found:
        todo = "Give what `strategist compare` writes of it."
        raise InputError.one(source, "", todo, wrong="is a strategy alone, without its counts")
    parse_json(json.dumps(found).encode(), _kind(found), source)
    return _checked(GivenResult(source, None, found["read_point"], found))


def _evaluated(comparison: dict[str, Any], source: str) -> Any:
    """What a comparison says of its only strategy."""
    rows = comparison["rows"]
    if not isinstance(rows, list) or len(rows) != 1 or not isinstance(rows[0], dict):
        allowed = "a comparison of one strategy: a page shows one for each read point"
        raise InputError.one(source, "several strategies", allowed)
    keys = {key: value for key, value in rows[0].items() if key != "status"}
    return {"read_point": comparison.get("read_point"), **keys}


def _kind(found: Any) -> TypeAdapter[Any]:
    """Which answer a JSON value is: each has keys that those before lack."""
    keys = set(found) if isinstance(found, dict) else set()
    return _ASSESSED if "cross_validation" in keys else _SOLVED if "status" in keys else _EVALUATION


def parse_frontier(data: bytes, source: str) -> dict[str, Any]:
    """A frontier's JSON as plain values; raises InputError with every fault."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    parse_json(data, _FRONTIER, source)
    return dict(json.loads(data))


def _lines(data: bytes, source: str) -> Iterator[GivenResult]:
    for number, line in enumerate(data.splitlines(), 1):
        where = f"{source}, line {number}"
        if is_sealed(line) is False:
            wrong, todo = (
                "the line is damaged",
                "Run the batch again: it does only such lines anew.",
            )
            raise InputError.one(source, "a damaged line", todo, line=number, wrong=wrong)
        try:
            parse_json(line, _LINE, where)
        except MalformedError as error:
            found = error.faults[0].value
            wrong = f'"{found}" is no line that a batch wrote'
            allowed = "JSON with case, read_point and result or error in each line"
            raise InputError.one(source, found, allowed, line=number, wrong=wrong) from None
        found = json.loads(line)
        failed = found.get("error")
        yield _checked(
            GivenResult(
                source,
                found["case"],
                found["read_point"],
                found.get("result"),
                None if failed is None else failed["message"],
                found.get("site"),
            )
        )


def _checked(given: GivenResult) -> GivenResult:
    """Raise InputError where a result's masks and their words are not of one number."""
    if given.result is None:
        return given
    beside = given.result.get("sturdier")
    for held, column in ((given.result, "mask_words"), (beside, "sturdier.mask_words")):
        if held is None:
            continue
        words, masks = held.get("mask_words"), held["strategy"].get("masks", [])
        if words and len(words) != len(masks):
            allowed = f"words for each of the {len(masks)} masks, or none"
            wrong = f"has words for {len(words)} masks"
            raise InputError.one(given.source, len(words), allowed, column=column, wrong=wrong)
    return given
