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
    """A strategy, and the read point that its file names (None where it names none)."""

    strategy: Strategy
    read_point: str | None = None


@pydantic.dataclasses.dataclass(frozen=True, config=ConfigDict(extra="ignore", strict=True))
class _Result:
    """The part of a result that matters here; its other keys are ours and are passed over."""

    strategy: Strategy
    read_point: str | None = None


_ANY: TypeAdapter[Any] = TypeAdapter(Any)
_RESULT: TypeAdapter[_Result] = TypeAdapter(_Result)


def parse_strategy_file(data: bytes, source: str) -> StrategyFile:
    """The strategy in a JSON text, a result's or its own; raises InputError with every fault."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    found = parse_json(data, _ANY, source)
    if isinstance(found, dict) and "strategy" in found:
        result = parse_json(data, _RESULT, source)
        return StrategyFile(result.strategy, result.read_point)
    return StrategyFile(read_strategy(data, source))
