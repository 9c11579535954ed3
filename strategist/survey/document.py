"""A case as one JSON document: the site, and the rows of each table as objects."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from pydantic import Field, TypeAdapter, WithJsonSchema
from pydantic.dataclasses import dataclass

from strategist.errors import Fault, InputError
from strategist.survey.assemble import NO_BOUNDS, assemble
from strategist.survey.bounds import Bounds
from strategist.survey.json_text import parse_json
from strategist.survey.judge import row_schema
from strategist.survey.policy import STRICT, Site
from strategist.survey.records import Case
from strategist.survey.tables import Tables, table_from_rows

__all__ = ["CaseDocument", "read_case_document"]

_TABLES = ("reads", "roster", "tried")
_Row = dict[str, Any]  # judged column by column, with the words that the files get
_ReadRow = Annotated[_Row, WithJsonSchema(row_schema("reads"))]
_RosterRow = Annotated[_Row, WithJsonSchema(row_schema("roster"))]
_TriedRow = Annotated[_Row, WithJsonSchema(row_schema("tried"))]


@dataclass(frozen=True, config=STRICT)
class CaseDocument:
    """The files of a case in one: `site` as in site.json, one object for each row of the others.

    Keys are the column names; a key that is absent or null means not given. Of rows that are no
    objects the first is told. `tried` absent means
    that every pass was tried at every level.
    """

    site: Site
    reads: Annotated[list[_ReadRow], Field(fail_fast=True)]
    roster: Annotated[list[_RosterRow], Field(min_length=1, fail_fast=True)]
    tried: Annotated[list[_TriedRow], Field(min_length=1, fail_fast=True)] | None = None


_DOCUMENT: TypeAdapter[CaseDocument] = TypeAdapter(CaseDocument)


def read_case_document(
    data: bytes, read_point: str | None = None, *, bounds: Bounds = NO_BOUNDS
) -> Case:
    """The case in a JSON text (see `CaseDocument`); with `read_point` that read point alone.

    Raises InputError as `read_case` does, with the place in the document as each fault's `path`;
    lines count the rows of a table from 1. MalformedError where the text is no JSON.
    """
    document = parse_json(data, _DOCUMENT, "survey", first=bounds.of_plain_document)
    tables = Tables(
        table_from_rows(document.reads, "reads", "reads"),
        table_from_rows(document.roster, "roster", "roster"),
        None if document.tried is None else table_from_rows(document.tried, "tried", "tried"),
    )
    try:
        return assemble(document.site, tables, read_point, site_source="site", bounds=bounds)
    except InputError as error:
        raise InputError(_placed(fault) for fault in error.faults) from None


def _placed(fault: Fault) -> Fault:
    if fault.source == "site":
        return replace(fault, path=("site", *fault.path))
    if fault.source not in _TABLES:
        return fault
    row = () if fault.line is None else (fault.line - 1,)
    return replace(
        fault, path=(fault.source, *row, *((fault.column,) if fault.column and row else ()))
    )
