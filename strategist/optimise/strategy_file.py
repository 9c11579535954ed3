"""A strategy as it is kept in a file: alone, or inside the result that `solve` wrote."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pydantic
from pydantic import ConfigDict, TypeAdapter

from strategist.optimise.strategy import Strategy, read_strategy
from strategist.survey.json_text import parse_json

__all__ = ["StrategyFile", "parse_strategy_file"]


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


def parse_strategy_file(data: bytes, source: str) -> StrategyFile:
    """The strategy in a JSON text, a result's or its own; raises InputError with every fault."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    found = parse_json(data, _ANY, source)
    if isinstance(found, dict) and "strategy" in found:
        result = parse_json(data, _RESULT, source)
        sturdier = None if result.sturdier is None else result.sturdier.strategy
        return StrategyFile(result.strategy, result.read_point, sturdier)
    return StrategyFile(read_strategy(data, source))
