"""From the bytes of a file to the tables in it, by what they begin with, never by its name."""

from __future__ import annotations

from pathlib import Path

from strategist.errors import InputError
from strategist.intake.delimited import sheet_of_text
from strategist.intake.sheet import Sheet
from strategist.survey.faults import FaultList
from strategist.survey.tables import read_bytes

BYTES_MAX = 1_000_000_000  # of one file, read at once


def sheets_of(name: str, content: bytes | Path) -> list[Sheet]:
    """The tables of a file (several only in a workbook); raises InputError where it has none."""
    data = _bytes(name, content)
    return [sheet_of_text(data, name)]


def _bytes(name: str, content: bytes | Path) -> bytes:
    faults = FaultList()
    if isinstance(content, Path):
        size = content.stat().st_size if content.is_file() else 0
    else:
        size = len(content)
    if size > BYTES_MAX:
        allowed = f"at most {BYTES_MAX:,} bytes; split the log and give its parts"
        raise InputError.one(name, f"{size:,} bytes", allowed)
    data = read_bytes(content, name, faults) if isinstance(content, Path) else content
    faults.raise_any()
    assert data is not None
    return data
