"""What was decided about the files of an import: told to a person, and kept to be taken again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from strategist.intake.imported import Recognised
from strategist.intake.mapping import ImportMapping, PassesBy, TableMapping
from strategist.intake.read import Table
from strategist.intake.terms import KINDS, ROLES, Kind, Role

Read = Mapping[Kind, Table | None]  # None: no such file was given


def columns_of(read: Read) -> tuple[Recognised, ...]:
    """Each column of each file, and what it was taken for."""
    return tuple(
        Recognised(
            table.source,
            column.name,
            column.role,
            table.forms.get(column.role) if column.role else None,
            column.how,
            column.sample,
        )
        for table in read.values()
        if table is not None
        for column in table.columns
    )


def assumed_of(read: Read, *more: Iterable[str]) -> tuple[str, ...]:
    """What was assumed of each file, with its name, and what else was; each once."""
    of_files = [
        f"{table.source}: {text}" if ": " not in text else text
        for table in read.values()
        if table is not None
        for text in table.assumed
    ]
    return tuple(dict.fromkeys([*of_files, *(text for texts in more for text in texts)]))


def settled(given: ImportMapping, read: Read, by: PassesBy) -> ImportMapping:
    """The mapping that reads such files again in the same way."""
    log, run_sheet, tags = (_of_kind(read[kind], kind, given) for kind in KINDS)
    return replace(given, passes_by=by, log=log, run_sheet=run_sheet, tags=tags)


def _of_kind(table: Table | None, kind: Kind, given: ImportMapping) -> TableMapping:
    of: TableMapping = getattr(given, kind)
    if table is None:
        return of
    columns: dict[Role, str | None] = dict(of.columns)
    columns |= {column.role: column.name for column in table.columns if column.role is not None}
    order = [role for role in ROLES[kind] if role in columns]
    return TableMapping({role: columns[role] for role in order}, dict(table.forms), of.sheet)  # type: ignore[arg-type]
