"""From a file that a user gives to its table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from strategist.errors import InputError
from strategist.intake.mapping import ImportMapping, TableMapping
from strategist.intake.open_file import sheets_of
from strategist.intake.read import Table, read_table
from strategist.intake.recognise import how_to_say
from strategist.intake.sheet import Sheet
from strategist.intake.terms import Kind, Role
from strategist.survey.faults import FaultList

Files = Mapping[str, bytes | Path]  # name to content, or where it lies


def table_of(
    name: str, content: bytes | Path, kind: Kind, mapping: ImportMapping, faults: FaultList
) -> Table | None:
    """The table of a file; of a workbook the only sheet that can be read as this kind."""
    of: TableMapping = getattr(mapping, kind)
    try:
        sheets = sheets_of(name, content)
        chosen = _sheet(sheets, kind, of)
        return read_table(chosen, kind, of, faults, mapping.epc_filter)
    except InputError as error:
        faults.take(error)
        return None


_NEEDED: dict[Kind, tuple[Role, ...]] = {
    "log": ("epc", "rssi"),
    "run_sheet": ("pass",),
    "tags": ("epc",),
}


def _sheet(sheets: list[Sheet], kind: Kind, of: TableMapping) -> Sheet:
    if len(sheets) == 1:
        return sheets[0]
    parts = [sheet.part or "" for sheet in sheets]
    source = sheets[0].source
    if of.sheet is not None:
        if of.sheet not in parts:
            raise InputError.one(
                source, "", f"one of {', '.join(parts)}", wrong=f'there is no sheet "{of.sheet}"'
            )
        return sheets[parts.index(of.sheet)]
    fit = []
    for sheet in sheets:
        quiet = FaultList()
        table = read_table(sheet, kind, of, quiet, 0)
        if table is not None and set(_NEEDED[kind]) <= {column.role for column in table.columns}:
            fit.append(sheet)
    if len(fit) != 1:
        say = how_to_say(kind, "sheet", parts[0])
        todo = f"Say which to take in the mapping file, as {say}."
        raise InputError.one(source, "", todo, wrong=f"has several sheets: {', '.join(parts)}")
    return replace(fit[0], notes=(*fit[0].notes, f'sheet "{fit[0].part}" is taken'))
