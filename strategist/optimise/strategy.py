"""A strategy: what the reader at a read point is told to do."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Annotated, Any

from pydantic import Field, TypeAdapter, field_validator, model_validator
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
from strategist.survey.score import Difference, Score
from strategist.tags.mask import Mask

__all__ = ["Strategy", "read_strategy"]

CUTOFF_DB_MAX = 120.0  # apart as far as RSSI can be
LEVELS_MAX, MASKS_MAX = 1000, 100  # more than a reader takes; a longer list is a mistake


@dataclass(frozen=True, config=STRICT)
class Strategy(Declared):
    """One level (fixed power) or several ascending ones (a step ladder), stop rule, cutoff, masks.

    Levels are conducted dBm. `cutoff_dbm` None means no cutoff; a read passes when its RSSI is at
    or above it. An empty mask chain lets every tag through.

    `score` says which number of a tag's reads the cutoff is held against (None: the strongest read
    of all antennas); where that is a difference, `cutoff_db` is the cutoff in place of
    `cutoff_dbm`. `step_s` is how long a step listens (None: as the read point's policy has it).
    """

    levels_dbm: Annotated[tuple[Dbm, ...], Field(min_length=1, max_length=LEVELS_MAX), Listed]
    stop_after: Annotated[int, Field(ge=1, le=STOP_AFTER_MAX), AsWhole] = 1
    cutoff_dbm: Annotated[float, Field(ge=RSSI_DBM_MIN, le=RSSI_DBM_MAX)] | None = None
    masks: Annotated[tuple[Mask, ...], Field(max_length=MASKS_MAX), Listed] = ()
    score: Score | None = None
    cutoff_db: Annotated[float, Field(ge=-CUTOFF_DB_MAX, le=CUTOFF_DB_MAX)] | None = None
    step_s: Annotated[float, Field(gt=0, le=3600)] | None = None

    @property
    def cutoff(self) -> float | None:
        """What a score must reach, in dBm or dB; None: any will do."""
        return self.cutoff_db if isinstance(self.score, Difference) else self.cutoff_dbm

    def to_json(self) -> dict[str, Any]:
        """The strategy as plain JSON values; `score` and `step_s` only where it has them, and of
        the cutoffs the one that goes with its score."""
        found = super().to_json()
        other = "cutoff_dbm" if isinstance(self.score, Difference) else "cutoff_db"
        lacking = {other, *(name for name in ("score", "step_s") if found[name] is None)}
        return {name: value for name, value in found.items() if name not in lacking}

    def without(self, *techniques: Technique, top_dbm: float) -> Strategy:
        """The same without some techniques: no ladder leaves its last step, no power puts that step
        at the highest level surveyed, no antennas are the strongest read of all of them."""
        no_score = "antennas" in techniques
        levels = self.levels_dbm[-1:] if "ladder" in techniques else self.levels_dbm
        return replace(
            self,
            levels_dbm=(*levels[:-1], top_dbm) if "power" in techniques else levels,
            cutoff_dbm=None if "cutoff" in techniques else self.cutoff_dbm,
            masks=() if "masks" in techniques else self.masks,
            cutoff_db=None if "cutoff" in techniques or no_score else self.cutoff_db,
            score=None if no_score else self.score,
        )

    @field_validator("levels_dbm")
    @classmethod
    def _ascending(cls, levels: tuple[float, ...]) -> tuple[float, ...]:
        if any(low >= high for low, high in itertools.pairwise(levels)):
            raise ValueError("The levels do not ascend. Give them in ascending order, each once.")
        return tuple(float(level) for level in levels)

    @model_validator(mode="after")
    def _one_cutoff(self) -> Strategy:
        if isinstance(self.score, Difference):
            if self.cutoff_dbm is not None:
                raise ValueError(
                    "cutoff_dbm does not go with a score that is a difference. Give cutoff_db."
                )
        elif self.cutoff_db is not None:
            raise ValueError(
                "cutoff_db goes with a score that is a difference alone. Give cutoff_dbm."
            )
        return self

    @field_validator("masks")
    @classmethod
    def _joined(cls, masks: tuple[Mask, ...]) -> tuple[Mask, ...]:
        for position, mask in enumerate(masks):
            if (mask.join is None) != (position == 0):
                raise ValueError(
                    "The masks are not joined. Give join (and, or) with each mask but the first."
                )
        return masks


STRATEGY: TypeAdapter[Strategy] = TypeAdapter(Strategy)


def read_strategy(data: bytes, source: str) -> Strategy:
    """The strategy in a JSON text; raises InputError with every fault."""
    return parse_json(data, STRATEGY, source)
