"""Reading a case: reads.csv, roster.csv, tried.csv if there is one, and site.json."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from strategist.errors import Fault, InputError
from strategist.survey.assemble import NO_BOUNDS, assemble
from strategist.survey.bounds import Bounds
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.json_text import parse_json
from strategist.survey.judge import judge
from strategist.survey.policy import SITE, Site
from strategist.survey.records import Case
from strategist.survey.tables import Kind, Tables, read_bytes, table_from_csv

__all__ = ["is_folder", "read_case", "read_case_files"]

_TABLES: dict[str, Kind] = {"reads.csv": "reads", "roster.csv": "roster", "tried.csv": "tried"}
_NEEDED = ("reads.csv", "roster.csv", "site.json")
_NAMES = (*_TABLES, "site.json")


def read_case(folder: str | Path, read_point: str | None = None) -> Case:
    """The case in a folder; with `read_point` that read point alone.

    Raises InputError with the faults of all its files at once: unreadable or broken files, wrong
    columns and values; and, when each file is sound, what they contradict (see `assemble`).
    """
    path = Path(folder)
    if not is_folder(path):
        raise InputError.one(str(folder), "no such folder", "the folder of a case")
    return _read(
        {name: path / name for name in _NAMES if name in _NEEDED or os.path.lexists(path / name)},
        read_point,
    )


def read_case_files(
    files: Mapping[str, bytes], read_point: str | None = None, *, bounds: Bounds = NO_BOUNDS
) -> Case:
    """The case whose files are given as name → content, tried.csv or not; faults as `read_case`.

    Raises InputError, too, where a file is missing or another name is given.
    """
    faults = FaultList()
    for name in files:
        if name not in _NAMES:
            allowed = f"{', '.join(_NAMES)}{nearest_hint(name, _NAMES)}"
            faults.add(Fault("files", None, None, name, allowed))
    for name in _NEEDED:
        if name not in files:
            faults.add(Fault(name, None, None, "", f"a file {name}"))
    faults.raise_any()
    return _read(files, read_point, bounds)


def _read(
    files: Mapping[str, bytes | Path], read_point: str | None, bounds: Bounds = NO_BOUNDS
) -> Case:
    tables = {
        kind: table_from_csv(files[name], name, kind)
        for name, kind in _TABLES.items()
        if name in files
    }
    faults = FaultList()
    site = _read_site(files["site.json"], faults, bounds)
    if site is None:
        for kind in ("roster", "reads", "tried"):
            if kind in tables:
                judge(tables[kind], faults)
        raise InputError(faults.faults())
    found = Tables(tables["reads"], tables["roster"], tables.get("tried"))
    return assemble(site, found, read_point, bounds=bounds)


def is_folder(path: Path) -> bool:
    """Whether a folder of this name exists."""
    try:
        return path.is_dir()
    except (OSError, ValueError):  # a name that no file system takes
        return False


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
        for fault in error.faults:
            faults.add(fault)
        return None
