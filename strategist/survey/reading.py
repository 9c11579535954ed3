"""Reading a case folder: reads.csv, roster.csv, tried.csv if there is one, and site.json."""

from __future__ import annotations

import os
from pathlib import Path

from strategist.errors import InputError
from strategist.survey.assemble import assemble
from strategist.survey.faults import FaultList
from strategist.survey.json_text import parse_json
from strategist.survey.judge import judge
from strategist.survey.policy import SITE, Site
from strategist.survey.records import Case
from strategist.survey.tables import Tables, read_bytes, table_from_csv

__all__ = ["is_folder", "read_case"]


def read_case(folder: str | Path, read_point: str | None = None) -> Case:
    """The case in a folder; with `read_point` that read point alone.

    Raises InputError with the faults of all its files at once: unreadable or broken files, wrong
    columns and values; and, when each file is sound, what they contradict (see `assemble`).
    """
    path = Path(folder)
    if not is_folder(path):
        raise InputError.one(str(folder), "no such folder", "the folder of a case")
    reads = table_from_csv(path / "reads.csv", "reads.csv", "reads")
    roster = table_from_csv(path / "roster.csv", "roster.csv", "roster")
    tried = None
    if os.path.lexists(path / "tried.csv"):
        tried = table_from_csv(path / "tried.csv", "tried.csv", "tried")
    tables = Tables(reads, roster, tried)
    faults = FaultList()
    site = _read_site(path / "site.json", faults)
    if site is None:
        for table in (roster, reads, tried):
            if table is not None:
                judge(table, faults)
        raise InputError(faults.faults())
    return assemble(site, tables, read_point)


def is_folder(path: Path) -> bool:
    """Whether a folder of this name exists."""
    try:
        return path.is_dir()
    except (OSError, ValueError):  # a name that no file system takes
        return False


def _read_site(path: Path, faults: FaultList) -> Site | None:
    """The policies, or None after adding the faults of the file."""
    data = read_bytes(path, path.name, faults)
    if data is None:
        return None
    try:
        return parse_json(data.removeprefix(b"\xef\xbb\xbf"), SITE, path.name)
    except InputError as error:
        for fault in error.faults:
            faults.add(fault)
        return None
