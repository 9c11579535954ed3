"""Reading a case, from a folder, from files in memory or from one JSON document; and other files.

A case is reads.csv, roster.csv, tried.csv and passes.csv if there are such, and site.json.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import Field, TypeAdapter, WithJsonSchema
from pydantic.dataclasses import dataclass

from strategist.errors import Fault, InputError
from strategist.survey.case import NO_BOUNDS, Bounds, Case, assemble
from strategist.survey.columns import row_schema
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.json_text import not_utf8, parse_json
from strategist.survey.policy import STRICT
from strategist.survey.records import Kind
from strategist.survey.site import SITE, Site
from strategist.survey.tables import read_bytes, table_from_csv, table_from_rows

_TABLES: dict[str, Kind] = {f"{kind}.csv": kind for kind in get_args(Kind)}
_NEEDED = ("reads.csv", "roster.csv", "site.json")
_NAMES = (*_TABLES, "site.json")


def read_case(folder: str | Path, read_point: str | None = None) -> Case:
    """The case in a folder; with `read_point` that read point alone.

    Raises InputError with the faults of all its files at once: unreadable or broken files, wrong
    columns and values; and, when each file is sound, what they contradict (see `assemble`).
    """
    path = Path(folder)
    if not is_folder(path):
        raise no_folder(folder)
    return _read(
        {name: path / name for name in _NAMES if name in _NEEDED or os.path.lexists(path / name)},
        read_point,
    )


def read_case_files(
    files: Mapping[str, bytes], read_point: str | None = None, *, bounds: Bounds = NO_BOUNDS
) -> Case:
    """The case whose files are given as name → content; faults as `read_case`.

    Raises InputError, too, where a file is missing or another name is given.
    """
    faults = FaultList()
    for name in files:
        if name not in _NAMES:
            todo = f"Known files: {', '.join(_NAMES)}{nearest_hint(name, _NAMES)}."
            faults.add(Fault("files", None, None, name, todo, wrong=f'unknown file "{name}"'))
    for name in _NEEDED:
        if name not in files:
            todo = f"Give {', '.join(_NEEDED)}."
            faults.add(Fault(name, None, None, "", todo, wrong="is missing"))
    faults.raise_any()
    return _read(files, read_point, bounds)


def _read(
    files: Mapping[str, bytes | Path], read_point: str | None, bounds: Bounds = NO_BOUNDS
) -> Case:
    faults = FaultList()
    site = _read_site(files["site.json"], faults, bounds)
    return assemble(
        site,
        {
            kind: table_from_csv(files[name], name, kind)
            for name, kind in _TABLES.items()
            if name in files
        },
        read_point,
        bounds=bounds,
        faults=faults,
    )


def no_folder(folder: str | Path) -> InputError:
    """What is said of a case that is not there."""
    todo = f"Give the folder of a case ({', '.join(_NEEDED)})."
    wrong = "is no folder" if is_file(Path(folder)) else "no such folder"
    return InputError.one(str(folder), wrong, todo, wrong=wrong)


def is_file(path: Path) -> bool:
    """Whether a file of this name exists."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Whether a folder of this name exists."""
    try:
        return path.is_dir()
    except (OSError, ValueError):  # a name that no file system takes
        return False


def read_site(path: Path) -> Site:
    """The policies in a site.json; raises InputError with all its faults."""
    faults = FaultList()
    site = _read_site(path, faults, NO_BOUNDS)
    faults.raise_any()
    assert site is not None
    return site


def _read_site(given: bytes | Path, faults: FaultList, bounds: Bounds) -> Site | None:
    """The policies, or None after adding the faults of the file."""
    data = read_bytes(given, "site.json", faults) if isinstance(given, Path) else given
    if data is None:
        return None
    try:
        text = data.removeprefix(b"\xef\xbb\xbf")
        return parse_json(
            text, SITE, "site.json", first=lambda plain: bounds.of_plain_site(plain, "site.json")
        )
    except InputError as error:
        faults.take(error)
        return None


_Row = dict[str, Any]  # judged column by column, with the words that the files get
_ReadRow = Annotated[_Row, WithJsonSchema(row_schema("reads"))]
_RosterRow = Annotated[_Row, WithJsonSchema(row_schema("roster"))]
_TriedRow = Annotated[_Row, WithJsonSchema(row_schema("tried"))]
_PassRow = Annotated[_Row, WithJsonSchema(row_schema("passes"))]


@dataclass(frozen=True, config=STRICT)
class CaseDocument:
    """The files of a case in one: `site` as in site.json, one object for each row of the others.

    Keys are the column names; a key that is absent or null means not given. Of rows that are no
    objects the first is told. `tried` absent means that every pass was tried at every level,
    `passes` that nothing is said of conditions, days and weights.
    """

    site: Site
    reads: Annotated[list[_ReadRow], Field(fail_fast=True)]
    roster: Annotated[list[_RosterRow], Field(min_length=1, fail_fast=True)]
    tried: Annotated[list[_TriedRow], Field(min_length=1, fail_fast=True)] | None = None
    passes: Annotated[list[_PassRow], Field(min_length=1, fail_fast=True)] | None = None


_DOCUMENT: TypeAdapter[CaseDocument] = TypeAdapter(CaseDocument)


def read_case_document(
    data: bytes, read_point: str | None = None, *, bounds: Bounds = NO_BOUNDS
) -> Case:
    """The case in a JSON text (see `CaseDocument`); with `read_point` that read point alone.

    Raises InputError as `read_case` does, with the place in the document as each fault's `path`;
    lines count the rows of a table from 1. MalformedError where the text is no JSON.
    """
    document = parse_json(data, _DOCUMENT, "survey", first=bounds.of_plain_document)
    given = {kind: getattr(document, kind) for kind in _TABLES.values()}
    tables = {
        kind: table_from_rows(rows, kind, kind)
        for kind in _TABLES.values()
        if (rows := given[kind]) is not None
    }
    try:
        return assemble(document.site, tables, read_point, site_source="site", bounds=bounds)
    except InputError as error:
        raise InputError(_placed(fault) for fault in error.faults) from None


def _placed(fault: Fault) -> Fault:
    if fault.source == "site":
        return replace(fault, path=("site", *fault.path))
    if fault.source not in _TABLES.values():
        return fault
    row = () if fault.line is None else (fault.line - 1,)
    return replace(
        fault, path=(fault.source, *row, *((fault.column,) if fault.column and row else ()))
    )


def read_file(path: str | Path) -> bytes:
    """The bytes of a file; raises InputError where it is absent, no file, or unreadable."""
    faults = FaultList()
    data = read_bytes(Path(path), str(path), faults)
    faults.raise_any()
    assert data is not None
    return data


def read_text(path: str | Path) -> str:
    """The text of a UTF-8 file without its BOM; raises InputError as `read_file`, or with the line
    of the first byte that is no UTF-8."""
    data = read_file(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise not_utf8(data, error, str(path)) from None
