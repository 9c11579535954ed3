"""Sheets with their plots. A worker draws them, since plots need the survey; until then a sheet is
shown without. What was drawn lately is kept, since answers never change.
"""

from __future__ import annotations

import json
import threading
import time
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..endpoints import Ask
from ..interactive import begin
from ..limits import INTERACTIVE_TIME_S
from ..problems import ProblemError
from ..store.jobs import find_job
from ..store.surveys import find_survey
from ..views.sheets import frontier_at, sheet_job
from .ask import Asker

_KEPT = 200  # some 60 kB each
_PATIENCE_S = 0.35  # a worker with nothing else to do is done within it
_PAUSE_S = 0.02
_AGAIN_S = 60.0  # until one that failed is tried again
_Key = tuple[str, str]


@dataclass
class _Begun:
    job: str
    at: float
    failed: bool = False


class Drawn:
    """The sheets that were drawn lately, by answer and trade-offs, and those being drawn."""

    def __init__(self) -> None:
        self._kept: OrderedDict[_Key, str] = OrderedDict()
        self._begun: dict[_Key, _Begun] = {}
        self._lock = threading.Lock()

    def look(self, ask: Asker, found: Mapping[str, Any]) -> tuple[str | None, bool]:
        """The sheet of an answer of the client with its plots (None: there are none now), and
        whether it will be there soon."""
        database = ask.service.database
        frontier, points = frontier_at(database, ask.client, (found["survey"], found["read_point"]))
        key = (found["id"], frontier)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key], False
            begun = self._begun.get(key)
            if begun is None or (begun.failed and time.monotonic() - begun.at > _AGAIN_S):
                begun = self._begin(ask, found, points)
                if begun is None:
                    return None, find_survey(database, ask.client, found["survey"]) is not None
                self._begun[key] = begun
        return self._wait(ask, key, begun)

    def _begin(
        self, ask: Asker, found: Mapping[str, Any], frontiers: list[dict[str, Any]]
    ) -> _Begun | None:
        survey = find_survey(ask.service.database, ask.client, found["survey"])
        if survey is None:
            return None
        job = sheet_job(survey, found["read_point"], found["result"], frontiers, alone=True)
        try:
            begin(Ask(ask.service, ask.client), job, INTERACTIVE_TIME_S)
        except ProblemError:  # too much is waiting: the next look asks again
            return None
        return _Begun(job.id, time.monotonic())

    def _wait(self, ask: Asker, key: _Key, begun: _Begun) -> tuple[str | None, bool]:
        database, end = ask.service.database, time.monotonic() + _PATIENCE_S
        while not begun.failed:
            row = find_job(database, ask.client, "sheet", begun.job)
            if row is None or row["state"] in ("failed", "cancelled"):
                break
            if row["state"] == "done":
                return self._keep(key, str(json.loads(row["result"])["page"])), False
            if time.monotonic() > end:
                return None, True
            time.sleep(_PAUSE_S)
        with self._lock:
            if key in self._kept:  # by another look meanwhile
                return self._kept[key], False
        begun.failed = True
        return None, False

    def _keep(self, key: _Key, sheet: str) -> str:
        with self._lock:
            self._begun.pop(key, None)
            self._kept[key] = sheet
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return sheet
