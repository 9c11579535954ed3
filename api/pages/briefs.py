"""What a table shows of each answer; read out of the long results once, since those never change.

A batch of a thousand read points has results of some ten million characters.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import RowMapping

from ..store.batches import results_of, rows_of
from ..store.database import Database

_KEPT = 20_000


@dataclass(frozen=True)
class Brief:
    """The line of a table: losses and counts; settings in a few words."""

    status: str
    loss: float
    guarded_loss: float
    missed: int
    wanted: int
    stray: int
    stray_presented: int
    strategy: Mapping[str, Any]


@dataclass(frozen=True)
class Line:
    """A read point of a batch; `brief` is None where there is no answer (yet)."""

    row: RowMapping
    brief: Brief | None


class Briefs:
    """Those of the answers that were asked for lately."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Brief] = OrderedDict()
        self._lock = threading.Lock()

    def of_batch(self, database: Database, batch_id: str) -> list[Line]:
        """All lines of a batch, in its order."""
        rows = rows_of(database, batch_id)
        done = [row["id"] for row in rows if row["state"] == "done"]
        with self._lock:
            known = {one: self._kept[one] for one in done if one in self._kept}
        unknown = [one for one in done if one not in known]
        found = results_of(database, batch_id, unknown) if unknown else {}
        new = {one: brief_of(json.loads(text)) for one, text in found.items()}
        with self._lock:
            self._kept.update(new)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        known |= new
        return [Line(row, known.get(row["id"])) for row in rows]


def brief_of(result: Mapping[str, Any]) -> Brief:
    outcome = result["outcome"]
    return Brief(
        result["status"],
        result["loss"],
        result["guarded_loss"],
        outcome["missed"],
        outcome["wanted"],
        outcome["stray"],
        outcome["stray_presented"],
        result["strategy"],
    )
