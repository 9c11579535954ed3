"""The results of a batch as a flat table, for spreadsheets and data frames."""

from __future__ import annotations

import itertools
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from strategist.report.document import reasons_to_visit

# Column to the type of its values: text, number or whole number; None where there is no value.
COLUMNS = {
    "case": "string",
    "read_point": "string",
    "status": "string",
    "loss": "float64",
    "bound": "float64",
    "gap": "float64",
    "silence_loss": "float64",  # where nothing is reported
    "expected_loss": "float64",  # in a pass to come; none where the aim is the survey
    "expected_low": "float64",  # its interval
    "expected_high": "float64",
    "passes": "int64",
    "wanted": "int64",
    "missed": "int64",
    "missed_rate": "float64",
    "stray_presented": "int64",
    "stray": "int64",
    "stray_rate": "float64",
    "levels_dbm": "string",  # the steps from the lowest up, parted by spaces
    "predicted_dbm": "string",  # those of them that were predicted, not surveyed
    "stop_after": "int64",
    "cutoff_dbm": "float64",
    "cutoff_db": "float64",  # in its place where the score is a difference
    "score": "string",  # JSON, as in a strategy; none: the strongest read of all antennas
    "masks": "string",  # JSON, as in a strategy
    "mask_words": "string",
    "lawful_dbm": "float64",
    "exposure_m": "float64",
    "expected_s": "float64",  # of a pass
    "worst_s": "float64",
    "warnings": "int64",  # reasons to visit: as many as the page gives
    "visit": "string",  # the reasons
    "seconds": "float64",
    "error": "string",
}
_RESULT = ("status", "loss", "bound", "gap", "silence_loss", "seconds")
_OUTCOME = (
    "passes",
    "wanted",
    "missed",
    "missed_rate",
    "stray_presented",
    "stray",
    "stray_rate",
)
_NUMBERS = ("levels_dbm", "predicted_dbm")  # texts of ours, which may begin with a minus sign
_FORMULA = "=+-@\uff1d\uff0b\uff0d\uff20"  # the last four: full width
_AT_ONCE = 1000  # rows of the table in memory


def table_row(line: dict[str, Any]) -> dict[str, Any]:
    """The columns of one line of results.jsonl."""
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    row |= {"case": line["case"], "read_point": line["read_point"], "status": "error"}
    if "error" in line:
        return row | {"error": line["error"]["message"]}
    result = line["result"]
    visit = reasons_to_visit(result)
    strategy, outcome, time = result["strategy"], result["outcome"], result["time"] or {}
    expected = result.get("expected_loss") or {}
    row |= {name: result[name] for name in _RESULT} | {name: outcome[name] for name in _OUTCOME}
    return row | {
        "expected_loss": expected.get("a_pass"),
        "expected_low": expected.get("low"),
        "expected_high": expected.get("high"),
        "levels_dbm": _levels(strategy["levels_dbm"]),
        "predicted_dbm": _levels((result.get("predicted") or {}).get("steps_dbm", [])),
        "stop_after": strategy["stop_after"],
        "cutoff_dbm": strategy.get("cutoff_dbm"),
        "cutoff_db": strategy.get("cutoff_db"),
        "score": json.dumps(strategy["score"]) if "score" in strategy else None,
        "masks": json.dumps(strategy["masks"]),
        "mask_words": "; ".join(result["mask_words"]),
        "lawful_dbm": result["lawful"]["highest_dbm"],
        "exposure_m": result["exposure"]["distance_m"],
        "expected_s": time.get("expected_s"),
        "worst_s": time.get("worst_s"),
        "warnings": len(visit),
        "visit": " ".join(visit),
    }


def csv_row(row: dict[str, Any]) -> dict[str, Any]:
    """A row of the table for a CSV file: each number in full, no text that acts as a formula."""
    return {name: _csv_cell(name, value) for name, value in row.items()}


def _csv_cell(name: str, value: Any) -> Any:
    if isinstance(value, float):
        return repr(value)
    return value if name in _NUMBERS else safe_cell(value)


def safe_cell(value: Any) -> Any:
    """A cell that a spreadsheet takes for text when it is text, whatever it begins with.

    Spreadsheets pass over blanks and invisible characters before the sign of a formula, and take
    the full-width signs for it, too. Such a text gets an apostrophe in front.
    """
    if not isinstance(value, str):
        return value
    seen = next((sign for sign in value if sign.isprintable() and not sign.isspace()), "")
    is_formula = seen != "" and seen in _FORMULA
    return f"'{value}" if is_formula or value[:1] in ("\t", "\r", "\n") else value


def _levels(levels_dbm: list[float]) -> str:
    return " ".join(f"{level:g}" for level in levels_dbm)


def write_parquet(path: Path, rows: Iterator[dict[str, Any]]) -> None:
    """The table in Apache Parquet; nothing, and no older file, where pyarrow is not installed."""
    try:
        import pyarrow  # noqa: PLC0415 (not always there)
        import pyarrow.parquet  # noqa: PLC0415
    except ImportError:
        path.unlink(missing_ok=True)
        return
    types = {"string": pyarrow.string(), "int64": pyarrow.int64(), "float64": pyarrow.float64()}
    schema = pyarrow.schema([(name, types[kind]) for name, kind in COLUMNS.items()])
    beside = path.with_name(f".strategist-{os.getpid()}.part")
    with pyarrow.parquet.ParquetWriter(beside, schema) as writer:
        while some := list(itertools.islice(rows, _AT_ONCE)):
            writer.write_batch(pyarrow.RecordBatch.from_pylist(some, schema))
    beside.replace(path)
