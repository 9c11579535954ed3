"""What clients get, as models that describe it in OpenAPI; keys may be added to any of them.

Answers of the library describe themselves. Their models are `Late`: they are made when somebody
asks for the description, since the answers load the solver, and no solve runs in the server.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from typing import Any, Literal, Union

from pydantic import BaseModel, ConfigDict, Field, create_model

import strategist
from strategist import Kept

State = Literal["waiting", "running", "done", "failed", "cancelled"]


_PROGRESS = "While it is worked at: elapsed_s, loss of the best so far, bound, stage"


class Given(BaseModel):
    model_config = ConfigDict(extra="allow")


@dataclass(frozen=True)
class Late:
    """A model that is made when it is described."""

    make: Callable[[], Any]


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
    read_points: list[dict[str, Any]] = Field(description="What check finds at each")
    imported: dict[str, Any] | None = Field(
        description="Of one made of raw files: what columns were taken for, what was assumed, what "
        "became of the rows, what is suspicious"
    )


class Pending(Given):
    """An answer that was asked for and is not there yet."""

    id: str
    state: State
    progress: dict[str, Any] | None = Field(description=_PROGRESS)


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


class _OfJob(_Stored):
    batch: str | None
    state: State
    progress: dict[str, Any] | None = Field(description=_PROGRESS)
    error: dict[str, Any] | None


class _Row(Given):
    position: int
    survey: str
    read_point: str
    state: State
    strategy: str = Field(description="Its id among the strategies")
    error: dict[str, Any] | None


class Batch(Given):
    id: str
    label: str
    created: str
    state: Literal["waiting", "running", "done", "cancelled"]
    total: int
    counts: dict[str, int]
    results: str


class Health(Given):
    status: Literal["ok"]


class Index(Given):
    version: str
    limits: dict[str, float]
    resources: dict[str, str]


def answer(name: str) -> Late:
    """The answer of the library that has this public name."""
    return Late(partial(_shape, name))


def stored(kept: Kept, answers: tuple[str, ...]) -> Late:
    """A stored answer: one of those with these public names, and what was asked."""
    return Late(partial(_stored_model, kept.kind, answers, _Stored))


def of_batch(kept: Kept, answers: tuple[str, ...]) -> Late:
    """The same about a batch."""
    return Late(partial(_stored_model, kept.kind, answers, _OfBatch))


def of_job(kept: Kept, answers: tuple[str, ...]) -> Late:
    """The same where the answer may not be there yet."""
    return Late(partial(_stored_model, kept.kind, answers, _OfJob))


def page_of(item: type[BaseModel] | Late) -> Late:
    """A page of a list: the items, and the cursor of the next page (null: this was the last)."""
    return Late(partial(_page, item))


@cache
def _shape(name: str) -> Any:
    return getattr(strategist, name).shape()


@cache
def _stored_model(kind: str, answers: tuple[str, ...], of: type[BaseModel]) -> type[BaseModel]:
    result: Any = Union[tuple(map(_shape, answers))]  # noqa: UP007 (made at run time)
    name = f"{kind.title().replace('_', '')}Answer"
    return _model(name, of, result=result | None if of is _OfJob else result)


@cache
def _page(item: type[BaseModel] | Late) -> type[BaseModel]:
    of: Any = item.make() if isinstance(item, Late) else item
    return _model(f"{of.__name__}Page", Given, items=list[of], next=str | None)


@cache
def _batch_results() -> type[BaseModel]:
    row: Any = _model("BatchRow", _Row, result=_shape("Assessment") | None)
    return _model("BatchResults", Given, items=list[row], next=int | None)


def _model(name: str, base: type[BaseModel], **keys: Any) -> type[BaseModel]:
    fields: Any = {key: (of, ...) for key, of in keys.items()}
    return create_model(name, __base__=base, **fields)


BatchResults = Late(_batch_results)
