"""A reader's own table of transmit powers: which index stands for which dBm.

LLRP sets a power by its index in the table that the reader reports (1.0.1, UHFBandCapabilities), so
the table must come from the reader at hand. It is never guessed.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from strategist.errors import Fault, InputError

TOLERANCE_DB = 0.005  # tables are in hundredths of a dB, so this is the same entry or none
_COLUMNS = ["index", "power_dbm"]
_ROW = re.compile(r" *[0-9]{1,5} *, *[+-]?[0-9]{1,3}(\.[0-9]*)? *")
_INDEX_ALLOWED = "a whole number from 0 to 65535, each once"
_POWER_ALLOWED = "a finite number of dBm"


@dataclass(frozen=True, slots=True)
class PowerTable:
    """(index, conducted dBm) entries. Raises InputError when empty or an entry is not possible."""

    entries: tuple[tuple[int, float], ...]

    def __post_init__(self) -> None:
        _judge([(None, *entry) for entry in self.entries], "power table")

    def index_of(self, power_dbm: float) -> int:
        """The index of a power that the table holds to 0.005 dB; the lowest where several do.

        Raises InputError naming the two nearest entries where none does.
        """
        ranked = sorted(self.entries, key=lambda entry: (abs(entry[1] - power_dbm), entry[0]))
        index, nearest = ranked[0]
        if abs(nearest - power_dbm) > TOLERANCE_DB + 1e-9:
            near = " or ".join(f"{dbm:g} dBm (index {number})" for number, dbm in ranked[:2])
            wrong, allowed = (
                f"has no entry of {power_dbm:g} dBm",
                f"a level that it has; nearest: {near}. Or list its levels as "
                "reader.power_levels_dbm in site.json and solve again: no others are proposed then",
            )
            raise InputError.one("power table", f"{power_dbm:g} dBm", allowed, wrong=wrong)
        return index

    def same_level(self, index: int, asked_dbm: float) -> float:
        """The power behind an index: `asked_dbm` itself where it is that to 0.005 dB."""
        power_dbm = dict(self.entries)[index]
        return asked_dbm if abs(power_dbm - asked_dbm) <= TOLERANCE_DB + 1e-9 else power_dbm


def read_power_table(text: str, source: str) -> PowerTable:
    """The table in a CSV text with columns `index, power_dbm`; raises InputError, all faults."""
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff")))
    try:
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as why:
        wrong, todo = "a quote is not closed", "Write index,power_dbm in each line, without quotes."
        raise InputError.one(source, str(why), todo, line=reader.line_num, wrong=wrong) from None
    first = rows[0][1] if rows else []
    if [name.strip() for name in first] != _COLUMNS:
        found, wrong = ",".join(first), "the header is not index,power_dbm"
        todo = "Begin with a line index,power_dbm."
        raise InputError.one(source, found, todo, line=1, wrong=wrong)
    entries: list[tuple[int | None, int, float]] = []
    faults: list[Fault] = []
    for line, row in rows[1:]:
        written = ",".join(row)
        if _ROW.fullmatch(written):
            entries.append((line, int(row[0]), float(row[1])))
        elif row:
            allowed = "a whole number and a number of dBm"
            faults.append(Fault(source, line, None, written, allowed))
    if faults:
        raise InputError(faults)
    _judge(entries, source)
    return PowerTable(tuple((index, power) for _, index, power in entries))


def _judge(entries: Iterable[tuple[int | None, int, float]], source: str) -> None:
    faults = []
    seen: set[int] = set()
    for line, index, power in entries:
        if not 0 <= index <= 65535 or index in seen:
            faults.append(Fault(source, line, "index", str(index), _INDEX_ALLOWED))
        if not math.isfinite(power):
            faults.append(Fault(source, line, "power_dbm", str(power), _POWER_ALLOWED))
        seen.add(index)
    if not seen:
        faults.append(Fault(source, None, None, "", "at least one", wrong="has no entry"))
    if faults:
        raise InputError(faults)
