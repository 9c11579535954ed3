"""A strategy as it is kept in a file: alone, or inside the result that `solve` wrote."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import pydantic
from pydantic import ConfigDict, Field, TypeAdapter

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.survey.json_text import parse_json

__all__ = ["StrategyFile", "parse_strategy_file", "parse_strategy_files"]


@dataclass(frozen=True)
class StrategyFile:
    """A strategy, and the read point that its file names (None where it names none).

    `sturdier` is what a result shows beside its own strategy, None where there is none.
    """

    strategy: Strategy
    read_point: str | None = None
    sturdier: Strategy | None = None


_LOOSE = ConfigDict(extra="ignore", strict=True)  # other keys are ours and are passed over


@pydantic.dataclasses.dataclass(frozen=True, config=_LOOSE)
class _Sturdier:
    strategy: Strategy


@pydantic.dataclasses.dataclass(frozen=True, config=_LOOSE)
class _Result:
    """The part of a result that matters here."""

    strategy: Strategy
    read_point: str | None = None
    sturdier: _Sturdier | None = None


_ANY: TypeAdapter[Any] = TypeAdapter(Any)
_RESULT: TypeAdapter[_Result] = TypeAdapter(_Result)
_RESULTS: TypeAdapter[list[_Result]] = TypeAdapter(Annotated[list[_Result], Field(min_length=1)])


def parse_strategy_files(data: bytes, source: str) -> list[StrategyFile]:
    """The strategies in a JSON text: one, as `parse_strategy_file`, or a list of results, which
    name different read points. Raises InputError with every fault."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    found = parse_json(data, _ANY, source)
    if found == []:
        raise InputError.one(source, "", "a strategy, or results of solve", wrong="is empty")
    if not (isinstance(found, list) and any(isinstance(one, dict) for one in found)):
        return [parse_strategy_file(data, source)]
    results = parse_json(data, _RESULTS, source)
    names = [one.read_point for one in results]
    if len(set(names)) < len(names) or None in names:
        wrong = "holds results that name no read point, or the same one twice"
        allowed = "results of different read points"
        raise InputError.one(source, ", ".join(map(str, names)), allowed, wrong=wrong)
    return [_of_result(one) for one in results]


def parse_strategy_file(data: bytes, source: str) -> StrategyFile:
    """The strategy in a JSON text, a result's or its own; raises InputError with every fault."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    found = parse_json(data, _ANY, source)
    if isinstance(found, dict) and "strategy" in found:
        return _of_result(parse_json(data, _RESULT, source))
    return StrategyFile(read_strategy(data, source))


def _of_result(result: _Result) -> StrategyFile:
    sturdier = None if result.sturdier is None else result.sturdier.strategy
    return StrategyFile(result.strategy, result.read_point, sturdier)
