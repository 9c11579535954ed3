"""What the library's trade-offs give (the JSON of the commands' `--out`), as models."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from api.library import SILENCE, STURDIER, Given, ResultJson, SturdierJson
from strategist import Strategy

__all__ = ["FrontierJson", "TechniquesJson", "WhatIfJson", "WhatIfsJson"]


class RatioRange(Given):
    """Weight ratios (missed ÷ stray); `high` null: however large."""

    low: float
    high: float | None


class FrontierPointJson(Given):
    missed: int
    stray: int
    missed_rate: float | None
    stray_rate: float
    loss: float = Field(description="Under the read point's own weights")
    guarded_loss: float
    strategy: Strategy
    mask_words: list[str]
    missed_bound: int = Field(description="No strategy that reports no more strays misses fewer")
    stray_bound: int = Field(description="No strategy that misses no more reports fewer strays")
    proven: bool = Field(description="Whether no strategy searched beats it")
    best_for: RatioRange | None = Field(description="null: another point is better for each ratio")
    chosen: bool = Field(description="Whether it is the best under the read point's own weights")


class FrontierJson(Given):
    """The result of `frontier`: the compromises, by missed tags ascending."""

    read_point: str
    status: Literal["complete", "restricted", "partial", "infeasible", "undecided"]
    weights: dict[str, float]
    silence_loss: float = SILENCE
    limits: dict[str, float | None]
    presented: dict[str, int]
    points: list[FrontierPointJson]
    open: list[dict[str, int]] = Field(description="Below these, more points are not ruled out")
    searched: dict[str, int]
    proof: dict[str, Any]
    warnings: list[str]
    seconds: float


class VariantJson(Given):
    """The best strategy with some techniques only, or with so many masks at most."""

    name: str
    group: Literal["all", "alone", "without", "work"]
    allow: list[str]
    masks_max: int
    status: Literal["optimal", "feasible", "infeasible", "undecided", "silent"]
    missed: int
    stray: int
    loss: float
    bound: float
    gap: float
    extra_loss: float = Field(description="On top of the loss of all together")
    guarded_loss: float
    strategy: Strategy
    mask_words: list[str]


class TechniquesJson(Given):
    """The result of `techniques`."""

    read_point: str
    variants: list[VariantJson]
    silence_loss: float = SILENCE
    sturdier: SturdierJson | None = STURDIER
    warnings: list[str]
    seconds: float


class ChangedKey(Given):
    """A key of the policy, "cable_db", or a part of the strategy, and its two values."""

    key: str
    before: Any
    after: Any


class BeforeAfter(Given):
    before: float
    after: float


class AnswerJson(Given):
    """What changes an answer, and how; the losses are by the weights before."""

    read_point: str
    changes: list[ChangedKey]
    assumptions: list[str]
    settings: list[ChangedKey]
    missed: BeforeAfter
    stray: BeforeAfter
    loss: BeforeAfter
    guarded_loss: BeforeAfter
    after: ResultJson


class WhatIfJson(AnswerJson):
    """The result of `what-if` with something changed."""

    before: ResultJson


class QuestionJson(Given):
    question: str
    answer: AnswerJson | None
    refused: str | None = Field(description="Why there is no answer")


class WhatIfsJson(Given):
    """The result of `what-if` without a change: what planners ask most."""

    read_point: str
    before: ResultJson
    questions: list[QuestionJson]
