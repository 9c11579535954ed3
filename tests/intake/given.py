"""What tests import: a drawn survey, the files of its case written apart from the product, and raw
files in the plainest form."""

from __future__ import annotations

import csv
import io
import json
import re
from functools import cache
from typing import Any

import strategist
from cases.raw_log import Facts, facts

PASSES = 8


@cache
def drawn(read_point: str = "sorting-belt", passes: int = PASSES, seed: int = 3) -> Facts:
    return facts(read_point, passes, seed)


def natural(name: str) -> list[Any]:
    return [int(part) if part.isdigit() else part for part in re.split(r"(\d+)", name)]


def text_of(rows: list[Any], delimiter: str = ",") -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text.getvalue()


def case_files(
    made: Facts, *, t_s: bool = False, all_levels: bool = False, antenna: bool = False
) -> dict[str, str]:
    """reads.csv, roster.csv and site.json as the import must write them."""
    head = ("read_point", "pass_id", "power_dbm", "epc", "rssi_dbm")
    reads = [(*head, *["antenna", "reads"] * antenna, *["t_s"] * t_s)]
    order = sorted(
        made.reads, key=lambda one: (natural(one.pass_id), one.level, one.epc, one.rssi, one.at)
    )
    for one in order:
        since = (one.at - made.start(one.pass_id, one.level)).total_seconds()
        more = (f"{since:.6f}".rstrip("0").rstrip("."),) if t_s else ()
        more = ("1", "1", *more) if antenna else more
        row = (made.read_point, one.pass_id, str(one.level), one.epc, f"{one.rssi:g}", *more)
        reads.append(row)
    roster = [("read_point", "pass_id", "epc", "role", "tid", "user", "tag_type")]
    roster += sorted(
        ((made.read_point, *row) for row in made.roster), key=lambda row: (natural(row[1]), row[2])
    )
    levels = list(made.levels) if all_levels else sorted({one.level for one in made.reads})
    site = {"site": "", "read_points": {made.read_point: {"levels_dbm": levels}}}
    return {
        "reads.csv": text_of(reads),
        "roster.csv": text_of(roster),
        "site.json": json.dumps(site, indent=1) + "\n",
    }


def log_rows(made: Facts) -> list[tuple[str, ...]]:
    """A log in the plainest form: ISO times, dBm, bare hex."""
    rows: list[tuple[str, ...]] = [("time", "epc", "rssi_dbm", "power_dbm")]
    for one in made.reads:
        at = one.at.replace(tzinfo=None).isoformat(timespec="milliseconds")
        rows.append((at, one.epc, f"{one.rssi:.1f}", str(one.level)))
    return rows


def sheet_rows(made: Facts) -> list[tuple[str, ...]]:
    """A run sheet by pass."""
    rows: list[tuple[str, ...]] = [("pass", "start", "end")]
    for name in made.passes:
        ends = (made.start(name), made.end(name))
        rows.append((name, *(at.replace(tzinfo=None).isoformat(" ") for at in ends)))
    return rows


def tag_rows(made: Facts) -> list[tuple[str, ...]]:
    """A tag list with the role of each tag in each pass."""
    return [("pass", "epc", "role", "tid", "user", "tag type"), *made.roster]


def imported(
    log: str | bytes | dict[str, bytes],
    sheet: str | bytes | None = None,
    tags: str | bytes | None = None,
    /,
    **mapping: Any,
) -> strategist.Imported:
    """An import of files given as text."""

    def content(text: str | bytes) -> bytes:
        return text.encode() if isinstance(text, str) else text

    given = {"read_point": drawn().read_point} | mapping
    return strategist.import_log(
        log if isinstance(log, dict) else {"raw.csv": content(log)},
        run_sheet=None if sheet is None else {"runs.csv": content(sheet)},
        tags=None if tags is None else {"tags.csv": content(tags)},
        mapping=strategist.parse_mapping(json.dumps(given).encode(), "m.json"),
    )


def level_rows(made: Facts) -> list[tuple[str, ...]]:
    """A run sheet by pass and level, which the ROSpec of the same number belongs to."""
    rows: list[tuple[str, ...]] = [("pass", "level", "from", "to", "ROSpecID")]
    for name in made.passes:
        for level in made.levels:
            ends = (made.start(name, level), made.end(name, level))
            times = (at.strftime("%Y-%m-%d %H:%M:%S") for at in ends)
            rows.append((name, f"{level} dBm", *times, str(level)))
    return rows


def plain(made: Facts, **mapping: Any) -> strategist.Imported:
    """The import of the plainest files."""
    files = (text_of(rows(made)) for rows in (log_rows, sheet_rows, tag_rows))
    return imported(*files, **mapping)


def of_case(files: dict[str, str]) -> dict[str, str]:
    return {name: files[name] for name in ("reads.csv", "roster.csv", "site.json")}


def asked(error: strategist.InputError) -> str:
    return str(error)
