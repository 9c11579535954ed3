"""Results as a report takes them: JSON of `solve`, `judge` or `evaluate`, or lines of a batch."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import pydantic
from pydantic import ConfigDict, Field, TypeAdapter

from strategist.errors import InputError, MalformedError
from strategist.optimise.strategy import Strategy
from strategist.report.seal import is_sealed
from strategist.survey.json_text import parse_json

__all__ = ["GivenResult", "parse_frontier", "parse_results"]

_LOOSE = ConfigDict(extra="ignore", strict=True, allow_inf_nan=False)
_Count = Annotated[int, Field(ge=0, le=10**12)]  # more is no count of anything surveyed
_Figure = Annotated[float, Field(ge=-1e15, le=1e15)]
_dataclass = pydantic.dataclasses.dataclass(frozen=True, config=_LOOSE)


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


@_dataclass
class _Outcome:
    passes: _Count
    wanted: _Count
    missed: _Count
    stray_presented: _Count
    stray: _Count
    missed_rate: _Figure | None
    stray_rate: _Figure


@_dataclass
class _Rate:
    events: _Count
    trials: _Count
    rate: _Figure | None
    low: _Figure
    high: _Figure
    confidence: _Figure


@_dataclass
class _Rates:
    missed_by_tag: _Rate
    missed_by_pass: _Rate
    stray_by_pass: _Rate
    stray_per_pass: _Rate
    sentences: list[str]


@_dataclass
class _StandIn:
    role: str
    asked_dbm: _Figure
    used_dbm: _Figure


@_dataclass
class _Guarded:
    power_db: _Figure
    rssi_db: _Figure
    loss: _Figure
    missed: _Count
    stray: _Count
    stand_ins: list[_StandIn]


@_dataclass
class _WorstCase:
    loss: _Figure
    missed: _Count
    stray: _Count


@_dataclass
class _PowerMargin:
    holds_db: _Figure
    fails_db: _Figure | None
    pass_id: str | None
    epc: str | None
    others: _Count


@_dataclass
class _RssiMargin:
    db: _Figure
    pass_id: str
    epc: str


@_dataclass
class _OfPower:
    wanted: _PowerMargin | None
    stray: _PowerMargin | None


@_dataclass
class _OfRssi:
    wanted: _RssiMargin | None
    stray: _RssiMargin | None


@_dataclass
class _Margins:
    power: _OfPower
    rssi: _OfRssi


@_dataclass
class _Finding:
    severity: str
    text: str
    advice: str


@_dataclass
class _Crossed:
    folds: _Count
    held_out: _Rates


@_dataclass
class _Lawful:
    reason: str
    caution: str


@_dataclass
class _Exposure:
    caution: str


@_dataclass
class _Time:
    expected_s: _Figure
    worst_s: _Figure
    step_worst_s: _Figure
    dwell_s: _Figure | None
    fits: bool | None
    quantile: _Figure | None = None


@_dataclass
class _Predicted:
    steps_dbm: list[_Figure]


@_dataclass
class _Sturdier:
    strategy: Strategy
    mask_words: list[str]
    gives_up: str
    gains: str


@_dataclass
class _Result:
    """What the report shows of a result; an evaluation has no status, bound and gap."""

    read_point: str
    loss: _Figure
    strategy: Strategy
    outcome: _Outcome
    guarded_loss: _Figure
    guarded: _Guarded
    rates: _Rates
    margins: _Margins
    warnings: list[str]
    status: Literal["optimal", "feasible", "infeasible", "undecided", "silent"] | None = None
    bound: _Figure | None = None
    gap: _Figure | None = None
    silence_loss: _Figure | None = None
    sturdier: _Sturdier | None = None
    mask_words: list[str] | None = None
    findings: list[_Finding] | None = None
    cross_validation: _Crossed | None = None
    lawful: _Lawful | None = None
    exposure: _Exposure | None = None
    time: _Time | None = None
    predicted: _Predicted | None = None
    worst_case: _WorstCase | None = None


@_dataclass
class _Error:
    message: str


@_dataclass
class _Line:
    case: str
    read_point: str | None
    result: _Result | None = None
    error: _Error | None = None
    site: str | None = None


@_dataclass
class _Ratios:
    low: _Figure
    high: _Figure | None


@_dataclass
class _Compromise:
    missed: _Count
    stray: _Count
    loss: _Figure
    best_for: _Ratios | None


@_dataclass
class _Frontier:
    read_point: str
    points: list[_Compromise]


_FRONTIER: TypeAdapter[_Frontier] = TypeAdapter(_Frontier)
_RESULT: TypeAdapter[_Result] = TypeAdapter(_Result)
_LINE: TypeAdapter[_Line] = TypeAdapter(_Line)
_ANY: TypeAdapter[Any] = TypeAdapter(Any)


def parse_results(data: bytes, source: str) -> list[GivenResult]:
    """The results in a JSON text, or in the lines of a batch; raises InputError with every fault.

    `source` is the file's name: in one that ends in .jsonl each line is one of a batch.
    """
    data = data.removeprefix(b"\xef\xbb\xbf")
    if source.endswith(".jsonl"):
        return list(_lines(data, source))
    found = parse_json(data, _ANY, source)
    parse_json(data, _RESULT, source)
    return [_checked(GivenResult(source, None, found["read_point"], found))]


def parse_frontier(data: bytes, source: str) -> dict[str, Any]:
    """A frontier's JSON as plain values; raises InputError with every fault."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    parse_json(data, _FRONTIER, source)
    return dict(json.loads(data))


def _lines(data: bytes, source: str) -> Iterator[GivenResult]:
    for number, line in enumerate(data.splitlines(), 1):
        where = f"{source}, line {number}"
        if is_sealed(line) is False:
            allowed = "a line as its batch wrote it: run the batch again, or drop the checksum"
            raise InputError.one(source, "a damaged line", allowed, line=number)
        try:
            parse_json(line, _LINE, where)
        except MalformedError as error:
            found = error.faults[0].value
            allowed = "a line that a batch wrote: JSON with case, read_point and result or error"
            raise InputError.one(source, found, allowed, line=number) from None
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
            raise InputError.one(given.source, len(words), allowed, column=column)
    return given
