"""How large a survey may be, asked before anything is built from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from strategist.errors import Fault, InputError
from strategist.survey.faults import FaultList
from strategist.survey.json_text import refuse_values
from strategist.survey.judge import Rows
from strategist.survey.policy import Site
from strategist.survey.tables import NEEDED, Table

__all__ = ["Bounds"]


@dataclass(frozen=True)
class Bounds:
    """The most values of site.json, read points, rows of one table, and passes of one read point;
    None: no bound.

    The checks raise InputError. Each is asked as soon as its count is known.
    """

    site_values: int | None = None
    read_points: int | None = None
    rows: int | None = None
    passes: int | None = None

    def of_plain_site(self, given: Any, source: str) -> None:
        """The values of a site, before they are judged."""
        if self.site_values is not None:
            refuse_values(given, self.site_values, source)

    def of_plain_document(self, given: Any) -> None:
        """A whole case as one document, before it is judged."""
        if not isinstance(given, dict):
            return
        rest = {key: value for key, value in given.items() if key not in NEEDED}
        self.of_plain_site(rest, "survey")
        for kind in NEEDED:
            self._rows(len(given[kind]) if isinstance(given.get(kind), list) else 0, kind)

    def of_site(self, site: Site, source: str) -> None:
        """The read points that have a policy."""
        self._points(len(site.read_points), source)

    def of_table(self, table: Table) -> None:
        """The rows of a table, before their values are looked at."""
        self._rows(len(table.lines), table.source)

    def of_points(self, known: Iterable[str], files: Iterable[Mapping[str, Rows]]) -> None:
        """The read points of a site and its tables, and the passes of each, before they are
        built."""
        names = list(known)
        self._points(len(names), "survey")
        if self.passes is None:
            return
        parts = list(files)
        faults = FaultList()
        for name in names:
            passes = len({one for part in parts if name in part for one in _passes(part[name])})
            if passes > self.passes:
                allowed = f"at most {self.passes:,} passes at a read point"
                faults.add(Fault("survey", None, name, f"{passes:,}", allowed))
        faults.raise_any()

    def _rows(self, count: int, source: str) -> None:
        if self.rows is not None and count > self.rows:
            allowed = f"at most {self.rows:,} rows in a table"
            raise InputError.one(source, f"{count:,} rows", allowed)

    def _points(self, count: int, source: str) -> None:
        if self.read_points is not None and count > self.read_points:
            allowed = f"at most {self.read_points:,} read points"
            raise InputError.one(source, f"{count:,}", allowed, column="read_points")


def _passes(rows: Rows) -> list[str]:
    column = rows.texts["pass_id"]
    return [column.values[code] for code in pd.unique(column.codes)]
