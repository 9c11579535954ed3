"""Reading a single file that the user names: a strategy, a power table."""

from __future__ import annotations

from pathlib import Path

from strategist.errors import InputError
from strategist.survey.faults import FaultList
from strategist.survey.tables import read_bytes

__all__ = ["read_file", "read_text"]


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
        line = data.count(b"\n", 0, error.start) + 1
        value = f"byte 0x{data[error.start]:02x}"
        raise InputError.one(str(path), value, "UTF-8 text", line=line) from None
