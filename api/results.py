"""The results of a batch in the forms that they can be had in."""

from __future__ import annotations

import csv
import io
import json
import time
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import RowMapping

import strategist

from .endpoints import Answer, Ask
from .page import FRAMED_BY_NONE
from .problems import ProblemError
from .service import Service
from .store.batches import batch_counts, find_batch, finished_after, results_after
from .store.database import StoreError
from .store.surveys import find_survey

NDJSON = "application/x-ndjson"
CSV = "text/csv"
HTML = "text/html"
_STREAM_S = 600.0  # then the client asks again
_PAUSE_S = 0.3
_ROWS = 1000
_ROWS_AT_ONCE = 100  # of a stream; a result may be large
_SHEETS = 100  # read points of a page
_COLUMNS = ("position", "survey", "read_point", "state", "strategy")
_OF_RESULT = ("status", "loss", "bound", "gap", "silence_loss")
_OF_OUTCOME = ("passes", "wanted", "missed", "stray_presented", "stray")


def result_row(row: RowMapping) -> dict[str, Any]:
    """One read point of a batch: its result, or its error, or neither yet."""
    return {
        "position": row["position"],
        "survey": row["survey"],
        "read_point": row["read_point"],
        "state": row["state"],
        "strategy": row["id"],
        "result": None if row["result"] is None else json.loads(row["result"]),
        "error": None if row["error"] is None else json.loads(row["error"]),
    }


def as_ndjson(ask: Ask, batch_id: str) -> Answer:
    """A line for each read point as it is finished, those that are first, until all are.

    A stream that ends before says so in a last line. Raises ProblemError where too many results
    are being streamed.
    """
    if not ask.service.streams.take(ask.client):
        headers = {"Retry-After": "10"}
        raise ProblemError("queue-full", "Too many results are being streamed.", headers=headers)
    return Answer(content=_Lines(ask, batch_id), media=NDJSON)


class _Lines(Iterator[bytes]):
    """The lines; gives back its place among the streams when it ends, is closed or forgotten."""

    def __init__(self, ask: Ask, batch_id: str) -> None:
        self._ask = ask
        self._lines = _finished(ask, batch_id)
        self._open = True

    def __next__(self) -> bytes:
        try:
            return next(self._lines)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        if self._open:
            self._open = False
            self._ask.service.streams.leave(self._ask.client)

    def __del__(self) -> None:
        self.close()


def _finished(ask: Ask, batch_id: str) -> Iterator[bytes]:
    """Lines by the numbers that read points get as they are finished: no clock has a say."""
    database, seq, told = ask.service.database, 0, 0
    end = time.monotonic() + _STREAM_S
    why = f"Ended after {_STREAM_S:g} s"
    try:
        while time.monotonic() < end:
            if ask.gone():
                return
            if ask.service.stopping.is_set():
                why = "The server is stopping"
                break
            counts = batch_counts(database, batch_id)
            while rows := finished_after(database, batch_id, seq, _ROWS_AT_ONCE):
                for row in rows:
                    seq, told = row["seq"], told + 1
                    yield json.dumps(result_row(row), ensure_ascii=False).encode() + b"\n"
            if not counts["waiting"] + counts["running"]:
                if told == sum(counts.values()) and told:
                    return
                why = "The batch was deleted"
                break
            time.sleep(_PAUSE_S)
        batch = find_batch(database, ask.client, batch_id)
        total = None if batch is None else batch["total"]
    except StoreError:
        why, total = "The store cannot be read now", None
    last = {"incomplete": f"{why}; ask again for all results.", "told": told, "total": total}
    yield json.dumps(last).encode() + b"\n"


def as_csv(service: Service, batch_id: str) -> Answer:
    """A table of all read points for a spreadsheet, in which no text can act as a formula."""
    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow((*_COLUMNS, *_OF_RESULT, *_OF_OUTCOME))
    position = -1
    while rows := results_after(service.database, batch_id, position, _ROWS):
        for row in map(result_row, rows):
            table.writerow([strategist.safe_cell(value) for value in _cells(row)])
            position = row["position"]
    headers = {"Content-Disposition": 'attachment; filename="results.csv"'}
    return Answer(content=text.getvalue(), media=f"{CSV}; charset=utf-8", headers=headers)


def as_page(service: Service, client: str, batch_id: str) -> Answer:
    """The sheets of the read points with the largest losses, as one page that prints."""
    given = _given(service, client, batch_id)
    document = strategist.report_document(given, at_most=_SHEETS, made_on=date.today().isoformat())
    page = strategist.report_page(document)
    headers = {"Content-Security-Policy": f"{strategist.page_policy(page)}; {FRAMED_BY_NONE}"}
    return Answer(content=page, media=f"{HTML}; charset=utf-8", headers=headers)


def _given(service: Service, client: str, batch_id: str) -> Iterator[strategist.GivenResult]:
    sites: dict[str, str] = {}
    position = -1
    while rows := results_after(service.database, batch_id, position, _ROWS):
        for row in map(result_row, rows):
            position = row["position"]
            error = (row["error"] or {}).get("detail", f"{row['state']}: no answer yet")
            survey = row["survey"]
            if survey not in sites:
                found = find_survey(service.database, client, survey)
                sites[survey] = "" if found is None else json.loads(found["summary"])["site"]
            result, site = row["result"], sites[survey] or None
            yield strategist.GivenResult("batch", survey, row["read_point"], result, error, site)


def _cells(row: dict[str, Any]) -> list[Any]:
    result = row["result"] or {}
    outcome = result.get("outcome", {})
    return [
        *(row[name] for name in _COLUMNS),
        *(result.get(name) for name in _OF_RESULT),
        *(outcome.get(name) for name in _OF_OUTCOME),
    ]
