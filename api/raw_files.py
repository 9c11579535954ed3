"""A survey of a reader's raw log, a run sheet and a tag list: a case takes their place."""

from __future__ import annotations

import json
from typing import Any

import strategist
from strategist.errors import InputError

from .endpoints import Form
from .store.database import Database
from .store.surveys import IMPORTED, files_of, read_survey, replace_files

RAW = Form({"log": True, "run_sheet": False, "tags": False, "mapping": False}, ("log",))


def is_raw(files: Any) -> bool:
    """Whether files of a survey are raw, and not those of a case."""
    return "log" in files


def import_raw(database: Database, survey: str, bounds: strategist.Bounds) -> dict[str, Any]:
    """Make a case of a survey's raw files, put it in their place, and check it.

    Done again by another worker, it takes up what the first has left. Raises InputError as
    `import_log` does.
    """
    files = files_of(database, survey)
    if not files:
        raise InputError.one("survey", survey, "Upload it again.", wrong="was deleted meanwhile")
    if is_raw(files):
        files = _case_files(files)
        replace_files(database, survey, files)
    checked = strategist.check(read_survey(files, bounds)).to_json()
    return checked | {"files": sorted(files), "imported": json.loads(files[IMPORTED])}


def _case_files(raw: dict[str, bytes]) -> dict[str, bytes]:
    mapping = strategist.ImportMapping()
    if "mapping" in raw:
        mapping = strategist.parse_mapping(raw["mapping"], "mapping")
    imported = strategist.import_log(
        {name: content for name, content in raw.items() if name.split("-")[0] == "log"},
        run_sheet={name: raw[name] for name in raw if name == "run_sheet"},
        tags={name: raw[name] for name in raw if name == "tags"},
        mapping=mapping,
    )
    told = json.dumps(imported.to_json(), ensure_ascii=False, allow_nan=False)
    return {name: text.encode() for name, text in (imported.files | {IMPORTED: told}).items()}
