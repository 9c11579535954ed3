"""What a finished batch came to: a table of its read points, those that read each
other's tags, and a short text."""

from __future__ import annotations

import csv
import heapq
import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from strategist.batch.book import Book
from strategist.batch.cross_reads import CrossRead, cross_reads_between
from strategist.batch.lines import Lines
from strategist.batch.tables import COLUMNS, csv_row, table_row, write_parquet
from strategist.errors import InputError
from strategist.report.document import report_document
from strategist.report.given_results import GivenResult
from strategist.report.lines import paragraph, plain
from strategist.report.output import write_whole, written_whole
from strategist.report.page import report_page
from strategist.survey.order import figure

_SHEETS = 100  # read points in report.html, so that it stays light
_FILES = ("summary.csv", "summary.parquet", "cross_reads.json", "summary.txt", "report.html")
_SHOWN = 10  # read points, errors and pairs in the text; the files hold all


@dataclass(frozen=True)
class Summary:
    """A finished batch: read points by status ("error" where there is no result), how many of them
    were kept from an earlier run, and the text of summary.txt."""

    folder: Path
    statuses: dict[str, int]
    kept: int
    text: str

    @property
    def total(self) -> int:
        return sum(self.statuses.values())

    @property
    def failed(self) -> int:
        return self.statuses.get("error", 0)


def refuse_links(folder: Path) -> None:
    """Raise InputError where a link has the name of a file to be written: what it leads to would be
    overwritten."""
    for name in _FILES:
        if (folder / name).is_symlink():
            wrong, todo = "is a link, which is not followed", "Remove it, or give another folder."
            raise InputError.one(str(folder / name), "a link", todo, wrong=wrong)


def summarise(folder: Path, book: Book, index: sqlite3.Connection, kept: int) -> Summary:
    """Write summary.csv, summary.parquet (where pyarrow is installed), cross_reads.json,
    summary.txt and report.html.

    summary.csv has one row for each read point, in the order of results.jsonl, and an apostrophe
    before any text that a spreadsheet would take for a formula; cross_reads.json the
    pairs of read points that hear each other's tags; report.html the sheets of those with the
    largest losses, without plots.
    """
    totals = _Totals()
    with written_whole(folder / "summary.csv") as file:
        writer = csv.DictWriter(file, list(COLUMNS), lineterminator="\n")
        writer.writeheader()
        for row in _rows(book.results):
            totals.take(row)
            writer.writerow(csv_row(row))
    write_parquet(folder / "summary.parquet", _rows(book.results))
    pairs = _write_pairs(
        folder / "cross_reads.json", cross_reads_between((t for _, t in book.tags.each()), index)
    )
    text = totals.text(pairs)
    write_whole(folder / "summary.txt", text)
    document = report_document(_given(book), at_most=_SHEETS, made_on=date.today().isoformat())
    write_whole(folder / "report.html", report_page(document))
    return Summary(folder, dict(totals.statuses), kept, text)


def _rows(results: Lines) -> Iterator[dict[str, Any]]:
    for _, line in results.each():
        yield table_row(line)


def _given(book: Book) -> Iterator[GivenResult]:
    source = book.results.path.name
    for _, line in book.results.each():
        error = line["error"]["message"] if "error" in line else None
        result, site = line.get("result"), line.get("site")
        yield GivenResult(source, line["case"], line["read_point"], result, error, site)


def _write_pairs(path: Path, pairs: Iterable[CrossRead]) -> list[CrossRead]:
    """Write all pairs and return those with the most hearings."""
    most: list[tuple[int, int, CrossRead]] = []
    with written_whole(path) as file:
        file.write('{"pairs": [')
        number = -1
        for number, pair in enumerate(pairs):
            file.write(",\n" if number else "\n")
            file.write(json.dumps(pair.to_json(), ensure_ascii=False))
            heapq.heappush(most, (pair.hearings.heard, -number, pair))
            if len(most) > _SHOWN:
                heapq.heappop(most)
        file.write("]}\n" if number < 0 else "\n]}\n")
    return [pair for _, _, pair in sorted(most, reverse=True)]


class _Totals:
    """What the text says, gathered row by row in little memory."""

    def __init__(self) -> None:
        self.statuses: Counter[str] = Counter()
        self._sums: Counter[str] = Counter()
        self._loss = 0.0
        self._worst: list[tuple[float, int, str]] = []
        self._errors: list[str] = []
        self._foreseen: list[str] = []
        self._silent: list[str] = []

    def take(self, row: dict[str, Any]) -> None:
        number = self.statuses.total()
        self.statuses[row["status"]] += 1
        name = f"{row['read_point']} ({row['case']})" if row["read_point"] else row["case"]
        if row["error"]:
            if len(self._errors) < _SHOWN:
                self._errors.append(f"{name}: {row['error'].splitlines()[0]}")
            return
        if row["status"] != "infeasible" and row["loss"] >= row["silence_loss"]:
            open_ = "" if row["status"] == "silent" else ", as far as was found in time"
            if len(self._silent) < _SHOWN:
                self._silent.append(
                    f"{name}: to report nothing loses {figure(row['silence_loss'])}, the settings "
                    f"found {figure(row['loss'])}{open_}"
                )
        if row["predicted_dbm"] and len(self._foreseen) < _SHOWN:
            self._foreseen.append(f"{name}: {row['predicted_dbm']} dBm")
        self._loss += row["loss"]
        self._sums.update({key: row[key] for key in ("wanted", "missed", "stray", "passes")})
        said = (
            f"{name}: loss {figure(row['loss'])}, {row['missed']} of {row['wanted']} wanted missed,"
            f" {row['stray']} stray reported"
        )
        heapq.heappush(self._worst, (row["loss"], -number, said))
        if len(self._worst) > _SHOWN:
            heapq.heappop(self._worst)

    def text(self, pairs: list[CrossRead]) -> str:
        lines = [f"{self.statuses.total()} read points"]
        lines += [f"  {count:>7} {_STATUS[status]}" for status, count in self._by_status()]
        lines += _listed(
            "No better than silence: do not install (all in summary.csv)", self._silent
        )
        sums = self._sums
        if sums["passes"]:
            lines += paragraph(
                f"In {sums['passes']} passes {sums['missed']} of {sums['wanted']} wanted tags were "
                f"missed and {sums['stray']} stray ones reported; summed loss {figure(self._loss)}."
            )
        worst = [said for loss, _, said in sorted(self._worst, reverse=True) if loss > 0]
        lines += _listed("Largest losses", worst)
        lines += _listed(
            "Steps that were predicted: survey them before hand-over (all in summary.csv)",
            self._foreseen,
        )
        lines += _listed("Errors (all in summary.csv)", self._errors)
        lines += _listed(
            "Cross-reads: tags of one read point read at another (all in cross_reads.json)",
            _said(pairs),
        )
        return "\n".join(lines) + "\n"

    def _by_status(self) -> list[tuple[str, int]]:
        return [(status, self.statuses[status]) for status in _STATUS if self.statuses[status]]


_STATUS = {
    "silent": "better silent: nothing searched is worth installing",
    "optimal": "proven best",
    "feasible": "not proven: time ran out",
    "infeasible": "exceed their limits whatever is set: do not install as they are",
    "undecided": "may exceed their limits: time ran out",
    "error": "without an answer",
}


def _said(pairs: list[CrossRead]) -> list[str]:
    said = []
    for pair in pairs:
        h = pair.hearings
        means = {
            "power": h.by_power,
            "cutoff": h.by_cutoff,
            "masks": h.by_masks,
            "several at once": h.by_several,
        }
        by = ", ".join(f"{count} by {name}" for name, count in means.items() if count)
        tags = "1 tag" if pair.tags == 1 else f"{pair.tags} tags"
        said.append(
            f"{pair.heard_at} hears {tags} of {pair.wanted_at} ({pair.case}) {h.heard} times as "
            f"stray: {h.silenced} silenced{f' ({by})' if by else ''}, {h.reported} reported"
        )
    return said


def _listed(head: str, said: list[str]) -> list[str]:
    lines = [line for text in said for line in paragraph(f"- {plain(text)}", hanging=2)]
    return [head, *lines] if lines else []
