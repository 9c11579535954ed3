"""What clients get, as models that describe it in OpenAPI; keys may be added to any of them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field, create_model

from api.library import (
    AcceptanceJson,
    Checked,
    CouplingJson,
    EvaluationJson,
    Given,
    JudgedJson,
    OutcomeJson,
    ResultJson,
    TemplatesJson,
)
from api.trade_offs import FrontierJson, TechniquesJson, WhatIfJson, WhatIfsJson
from strategist import Strategy

__all__ = [
    "Acceptance",
    "Batch",
    "BatchResults",
    "Comparison",
    "Coupling",
    "Evaluation",
    "Frontier",
    "Health",
    "Index",
    "Judgement",
    "Problem",
    "StrategyAnswer",
    "Survey",
    "Techniques",
    "Templates",
    "WhatIf",
    "page_of",
]

State = Literal["waiting", "running", "done", "failed", "cancelled"]


class ProblemFault(Given):
    """One thing wrong: a JSON pointer into the body, or the file with its line and column."""

    pointer: str
    source: str
    line: int | None
    column: str | None
    found: str
    allowed: str
    detail: str


class Problem(Given):
    """Problem details (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    request_id: str
    faults: tuple[ProblemFault, ...] = ()


class Survey(Given):
    id: str
    label: str
    created: str
    digest: str = Field(description="SHA-256 of the contents as given")
    site: str
    files: list[str]
    read_points: list[Checked]


class ComparisonRow(Given):
    """One side: what its strategy does, and its loss under the read point's own weights."""

    name: str
    chosen: bool = Field(description="Whether it was solved for, under weights of its own")
    weights: dict[str, float]
    status: str | None
    loss: float = Field(description="Under the read point's own weights")
    loss_own_weights: float
    strategy: Strategy
    outcome: OutcomeJson
    guarded_loss: float
    guarded: dict[str, Any]
    worst_case_loss: float = Field(description="The most that drift within the guards can cost")
    worst_case: dict[str, Any]
    rates: dict[str, Any]
    margins: dict[str, Any]
    warnings: list[str]


class SideOfPass(Given):
    """What a row's strategy does in a pass, by EPC, and the ladder steps that it walks."""

    missed: list[str]
    stray: list[str]
    steps: int


class DifferingPass(Given):
    pass_id: str
    sides: list[SideOfPass] = Field(description="In the order of the rows")


class Change(Given):
    """One act at the reader; `before` null: there was none, `after` null: it goes."""

    setting: Literal["levels_dbm", "stop_after", "cutoff_dbm", "masks"]
    before: Any
    after: Any
    words: str


class ChangesJson(Given):
    """What leads from the first row's strategy to another's."""

    from_: str = Field(alias="from")
    to: str
    changes: list[Change]
    loss_with_one_changed: dict[str, float]
    enough: list[str] = Field(description="Fewest settings whose change gives as low a loss")
    enough_loss: float


class ComparisonJson(Given):
    read_point: str
    weights: dict[str, float]
    rows: list[ComparisonRow]
    least_loss: list[str] = Field(description="Names of the rows with the least loss")
    passes: list[DifferingPass] = Field(description="Those that not all rows treat alike")
    changes: list[ChangesJson] = Field(description="From the first row to each other one")


class _Kept(Given):
    id: str
    label: str
    created: str
    request: dict[str, Any]
    version: str = Field(description="Of strategist, which answered")


class _Stored(_Kept):
    survey: str
    survey_digest: str
    read_point: str


class _OfBatch(_Kept):
    batch: str


class StrategyAnswer(_Stored):
    batch: str | None
    state: State
    result: ResultJson | None
    error: dict[str, Any] | None


class Evaluation(_Stored):
    result: EvaluationJson


class Comparison(_Stored):
    result: ComparisonJson


class Judgement(_Stored):
    result: JudgedJson


class Frontier(_Stored):
    result: FrontierJson


class Techniques(_Stored):
    result: TechniquesJson


class WhatIf(_Stored):
    result: WhatIfJson | WhatIfsJson


class Acceptance(_Stored):
    result: AcceptanceJson


class Templates(_OfBatch):
    result: TemplatesJson


class Coupling(_OfBatch):
    result: CouplingJson


class Batch(Given):
    id: str
    label: str
    created: str
    state: Literal["waiting", "running", "done", "cancelled"]
    total: int
    counts: dict[str, int]
    results: str


class BatchRow(Given):
    position: int
    survey: str
    read_point: str
    state: State
    strategy: str = Field(description="Its id among the strategies")
    result: ResultJson | None
    error: dict[str, Any] | None


class BatchResults(Given):
    items: list[BatchRow]
    next: int | None


class Health(Given):
    status: Literal["ok"]


class Index(Given):
    version: str
    limits: dict[str, float]
    resources: dict[str, str]


def page_of(item: type[BaseModel]) -> type[BaseModel]:
    """A page of a list: the items, and the cursor of the next page (null: this was the last)."""
    return create_model(
        f"{item.__name__}Page",
        __base__=Given,
        items=(list[item], ...),  # type: ignore[valid-type]
        next=(str | None, ...),
    )
