"""A case: from the tables of a site to its read points, the one entry for files, HTTP bodies and
data frames."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from strategist.errors import Fault, InputError
from strategist.survey.build import build
from strategist.survey.columns import NEEDED
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.json_text import parse_json, refuse_values
from strategist.survey.order import natural, some
from strategist.survey.policy import POLICY, Policy
from strategist.survey.records import Kind, ReadPoint
from strategist.survey.rows import PointRows, Rows, judge
from strategist.survey.site import NO_COST, SITE, Arbitration, Cost, SharedReader, Site
from strategist.survey.tables import Table, table_from_frame

if TYPE_CHECKING:
    import pandas as pd

ONE_ROW, NO_ROW = "at least one", "has no row below the header"
_ORDER: tuple[Kind, ...] = ("roster", "reads", "tried", "passes")  # of the faults of several tables


@dataclass(frozen=True, eq=False)
class Case:
    """A site: its name and its read points, in the order of site.json.

    `case["gate-1"]` is a read point by its name; iterating gives one after the other. `readers` are
    those that several share, by name, `cost` is what visits, settings and options cost, and
    `arbitration` are pairs of whose reports the host may discard one.
    """

    site: str
    read_points: tuple[ReadPoint, ...]
    readers: Mapping[str, SharedReader] = field(default_factory=dict)
    cost: Cost = NO_COST
    arbitration: Mapping[str, Arbitration] = field(default_factory=dict)

    @classmethod
    def from_frames(
        cls,
        reads: pd.DataFrame,
        roster: pd.DataFrame,
        policies: Mapping[str, Policy | Mapping[str, Any]] | None = None,
        *,
        tried: pd.DataFrame | None = None,
        passes: pd.DataFrame | None = None,
        site: str = "",
        readers: Mapping[str, Any] | None = None,
        cost: Mapping[str, Any] | None = None,
        arbitration: Mapping[str, Any] | None = None,
    ) -> Case:
        """The case in data frames with the columns of reads.csv, roster.csv, tried.csv and
        passes.csv.

        `policies` has the policy of each read point, as an object or as it stands in site.json;
        `readers`, `cost` and `arbitration` are as they stand there.
        Index and order of the rows do not matter; NaN means not given. Raises InputError with every
        fault at once, as `read_case` does; lines count the rows of a frame from 1.
        """
        plain = {
            name: POLICY.dump_python(policy, mode="json") if isinstance(policy, Policy) else policy
            for name, policy in (policies or {}).items()
        }
        given = {
            "site": site,
            "read_points": plain,
            "readers": readers or {},
            "cost": cost or {},
            "arbitration": arbitration or {},
        }
        frames: dict[Kind, pd.DataFrame | None] = {
            "reads": reads,
            "roster": roster,
            "tried": tried,
            "passes": passes,
        }
        tables = {
            kind: table_from_frame(frame, kind, kind)
            for kind, frame in frames.items()
            if frame is not None
        }
        judged = parse_json(json.dumps(given, default=_plain).encode(), SITE, "policies")
        return assemble(judged, tables, site_source="policies")

    def __getitem__(self, name: str) -> ReadPoint:
        """The read point of a name; InputError where there is none."""
        names = self._ipython_key_completions_()
        if name not in names:
            raise unknown_read_point(name, names)
        return self.read_points[names.index(name)]

    def __iter__(self) -> Iterator[ReadPoint]:
        return iter(self.read_points)

    def __len__(self) -> int:
        return len(self.read_points)

    def __repr__(self) -> str:
        return f"Case({self.site!r}: {some(self._ipython_key_completions_())})"

    def _ipython_key_completions_(self) -> list[str]:
        """What a notebook offers after `case["`."""
        return [point.name for point in self.read_points]


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
                allowed = f"at most {self.passes:,}, or split the survey"
                wrong = f"{passes:,} passes are too many"
                faults.add(Fault("survey", None, name, f"{passes:,}", allowed, wrong=wrong))
        faults.raise_any()

    def _rows(self, count: int, source: str) -> None:
        if self.rows is not None and count > self.rows:
            allowed, wrong = (
                f"at most {self.rows:,}, or split the survey",
                f"{count:,} rows are too many",
            )
            raise InputError.one(source, f"{count:,} rows", allowed, wrong=wrong)

    def _points(self, count: int, source: str) -> None:
        if self.read_points is not None and count > self.read_points:
            allowed = f"at most {self.read_points:,}, or split the survey"
            wrong = f"{count:,} read points are too many"
            raise InputError.one(source, f"{count:,}", allowed, column="read_points", wrong=wrong)


NO_BOUNDS = Bounds()


def _passes(rows: Rows) -> list[str]:
    column = rows.texts["pass_id"]
    return [column.values[code] for code in column.used()]


def assemble(
    site: Site | None,
    tables: Mapping[Kind, Table],
    read_point: str | None = None,
    *,
    site_source: str = "site.json",
    bounds: Bounds = NO_BOUNDS,
    faults: FaultList | None = None,
) -> Case:
    """The case that a site's policies and its tables describe; with `read_point` that one only.

    Read points come in the order of the site, then those of the tables that the site lacks, by
    name, with the default policy and a warning. A pass exists when any table names it; one that
    is not on the roster is an empty presentation, and a warning says so. The order of rows does
    not matter: passes stand in natural order ("p2" before "p10"), tags by EPC, roster entries by
    pass and tag, reads by pass, level, tag and RSSI.

    Raises InputError with the faults of all tables, after those found before (`faults`; `site` is
    None where some are its own): those of the values, or, when every value is sound, those between
    rows and between files; and before that where it is beyond the `bounds`.
    """
    faults = FaultList() if faults is None else faults
    order: list[Kind] = [kind for kind in _ORDER if kind in tables]
    if site is not None:
        bounds.of_site(site, site_source)
        for kind in order:
            bounds.of_table(tables[kind])
    files = {kind: judge(tables[kind], faults) for kind in order}
    del tables  # where nobody else holds them, their memory is free for the survey
    faults.raise_any()
    assert site is not None
    for kind, rows in files.items():
        if kind != "reads" and not len(rows):
            faults.add(Fault(rows.source, None, None, "", ONE_ROW, wrong=NO_ROW))
    faults.raise_any()
    parts = {kind: rows.by_read_point() for kind, rows in files.items()}
    in_tables = sorted({name for of in parts.values() for name in of}, key=natural)
    known = list(dict.fromkeys([*site.read_points, *in_tables]))
    _judge_readers(site, known, site_source, faults)
    faults.raise_any()
    if read_point is not None and read_point not in known:
        raise unknown_read_point(read_point, known)
    bounds.of_points(known, parts.values())
    none = {kind: rows.take(np.empty(0, np.int64)) for kind, rows in files.items()}
    points: list[ReadPoint] = []
    for name in known if read_point is None else [read_point]:
        its = {kind: parts[kind].get(name, none[kind]) for kind in order}
        policy, warnings = policy_of(site, name, site_source)
        points += build(PointRows(name, policy, its, site_source), warnings, faults)
    faults.raise_any()
    return Case(site.site, tuple(points), site.readers, site.cost, site.arbitration)


def _judge_readers(site: Site, known: Sequence[str], source: str, faults: FaultList) -> None:
    """A reader serves read points that exist, and so does an arbitration."""
    named = [
        (key, name, one.read_points)
        for key, of_key in (("readers", site.readers), ("arbitration", site.arbitration))
        for name, one in of_key.items()
    ]
    for key, name, read_points in named:
        for place, served in enumerate(read_points):
            if served not in known:
                todo = f"Known read points: {some(known)}{nearest_hint(served, known)}."
                path = (key, name, "read_points", place)
                column = ".".join(map(str, path))
                wrong = f'there is no read point "{served}"'
                faults.add(Fault(source, None, column, served, todo, path, wrong=wrong))


def policy_of(site: Site, name: str, site_source: str) -> tuple[Policy, list[str]]:
    """The policy of a read point, and a warning when the site has none for it."""
    if name in site.read_points:
        return site.read_points[name], []
    hint = nearest_hint(name, site.read_points)
    return Policy(), [f'{site_source} lacks the read point "{name}"{hint}: defaults are used.']


def _plain(value: Any) -> Any:
    """A value of numpy as JSON has it; what is neither is told as text."""
    return value.tolist() if isinstance(value, np.generic | np.ndarray) else str(value)


def unknown_read_point(name: str, known: list[str]) -> InputError:
    """What is said of a read point that a case does not have."""
    todo = f"Known read points: {some(known)}{nearest_hint(name, known)}."
    return InputError.one("read point", name, todo, wrong=f'there is no read point "{name}"')
