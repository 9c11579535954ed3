"""A strategy: what the reader at a read point is told to do."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Annotated

from pydantic import Field, TypeAdapter, field_validator
from pydantic.dataclasses import dataclass

from strategist.survey.answer import Declared
from strategist.survey.json_text import parse_json
from strategist.survey.policy import (
    RSSI_DBM_MAX,
    RSSI_DBM_MIN,
    STOP_AFTER_MAX,
    STRICT,
    AsWhole,
    Dbm,
    Listed,
    Technique,
)
from strategist.tags.mask import Mask

__all__ = ["Strategy", "read_strategy"]

LEVELS_MAX, MASKS_MAX = 1000, 100  # more than a reader takes; a longer list is a mistake


@dataclass(frozen=True, config=STRICT)
class Strategy(Declared):
    """One level (fixed power) or several ascending ones (a step ladder), stop rule, cutoff, masks.

    Levels are conducted dBm. `cutoff_dbm` None means no cutoff; a read passes when its RSSI is at
    or above it. An empty mask chain lets every tag through.
    """

    levels_dbm: Annotated[tuple[Dbm, ...], Field(min_length=1, max_length=LEVELS_MAX), Listed]
    stop_after: Annotated[int, Field(ge=1, le=STOP_AFTER_MAX), AsWhole] = 1
    cutoff_dbm: Annotated[float, Field(ge=RSSI_DBM_MIN, le=RSSI_DBM_MAX)] | None = None
    masks: Annotated[tuple[Mask, ...], Field(max_length=MASKS_MAX), Listed] = ()

    def without(self, *techniques: Technique, top_dbm: float) -> Strategy:
        """The same without some techniques: no ladder leaves its last step, no power puts that step
        at the highest level surveyed."""
        levels = self.levels_dbm[-1:] if "ladder" in techniques else self.levels_dbm
        return replace(
            self,
            levels_dbm=(*levels[:-1], top_dbm) if "power" in techniques else levels,
            cutoff_dbm=None if "cutoff" in techniques else self.cutoff_dbm,
            masks=() if "masks" in techniques else self.masks,
        )

    @field_validator("levels_dbm")
    @classmethod
    def _ascending(cls, levels: tuple[float, ...]) -> tuple[float, ...]:
        if any(low >= high for low, high in itertools.pairwise(levels)):
            raise ValueError("levels in ascending order, each once")
        return tuple(float(level) for level in levels)

    @field_validator("masks")
    @classmethod
    def _joined(cls, masks: tuple[Mask, ...]) -> tuple[Mask, ...]:
        for position, mask in enumerate(masks):
            if (mask.join is None) != (position == 0):
                raise ValueError('"join" ("and" or "or") on every mask but the first')
        return masks


STRATEGY: TypeAdapter[Strategy] = TypeAdapter(Strategy)


def read_strategy(data: bytes, source: str) -> Strategy:
    """The strategy in a JSON text; raises InputError with every fault."""
    return parse_json(data, STRATEGY, source)
