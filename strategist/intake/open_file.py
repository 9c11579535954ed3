"""From the bytes of a file to the tables in it, by what they begin with, never by its name."""

from __future__ import annotations

from pathlib import Path

from strategist.errors import InputError
from strategist.intake.delimited import sheet_of_text
from strategist.intake.json_rows import sheet_of_json
from strategist.intake.llrp_reports import is_llrp, sheet_of_llrp
from strategist.intake.llrp_xml import sheet_of_llrp_xml
from strategist.intake.sheet import Sheet
from strategist.intake.workbook import sheets_of_workbook
from strategist.survey.faults import FaultList
from strategist.survey.tables import read_bytes

_OTHERS = (
    (b"\xd0\xcf\x11\xe0", "is a workbook of the old format", "Save it as .xlsx, or as CSV."),
    (b"\x1f\x8b", "is packed (gzip)", "Unpack it."),
    (b"%PDF", "is a PDF", "text, a workbook (.xlsx), JSON lines, or LLRP reports"),
)
BYTES_MAX = 300_000_000  # of one file, read at once


def sheets_of(name: str, content: bytes | Path) -> list[Sheet]:
    """The tables of a file (several only in a workbook); raises InputError where it has none."""
    data = _bytes(name, content)
    start = data[:64].lstrip(b"\xef\xbb\xbf \t\r\n")
    if data.startswith(b"PK\x03\x04"):
        return sheets_of_workbook(data, name)
    for mark, found, allowed in _OTHERS:
        if data.startswith(mark):
            raise InputError.one(name, "", allowed, wrong=found)
    if is_llrp(data):
        return [sheet_of_llrp(data, name)]
    if start.startswith(b"<"):
        return [sheet_of_llrp_xml(data, name)]
    if start.startswith((b"{", b"[")):
        return [sheet_of_json(data, name)]
    return [sheet_of_text(data, name)]


def _bytes(name: str, content: bytes | Path) -> bytes:
    faults = FaultList()
    if isinstance(content, Path):
        size = content.stat().st_size if content.is_file() else 0
    else:
        size = len(content)
    if size > BYTES_MAX:
        allowed = f"at most {BYTES_MAX:,} bytes; split the log and give its parts"
        raise InputError.one(name, "", allowed, wrong=f"has {size:,} bytes")
    data = read_bytes(content, name, faults) if isinstance(content, Path) else content
    faults.raise_any()
    assert data is not None
    return data
