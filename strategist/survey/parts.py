"""A case read point by read point: each gets only its own rows, and nobody holds the whole.

One walk over each file notes where the rows of each read point stand, in a database on disk that
vanishes with the object, so that memory grows neither with rows nor with read points.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TextIO, get_args

import numpy as np

from strategist.errors import Fault, InputError
from strategist.survey.build import build
from strategist.survey.case import NO_ROW, ONE_ROW, policy_of
from strategist.survey.faults import FaultList
from strategist.survey.json_text import parse_json
from strategist.survey.order import natural
from strategist.survey.policy import POLICY, Policy
from strategist.survey.reading import is_folder, no_folder
from strategist.survey.records import Kind, ReadPoint
from strategist.survey.rows import PointRows, judge
from strategist.survey.site import Site
from strategist.survey.tables import read_bytes, reason
from strategist.survey.walk import (
    SITE,
    Excerpt,
    Policies,
    UnsoundError,
    line_ends,
    loose_policies,
    policies_of,
    runs_of,
)

_KINDS: tuple[Kind, ...] = get_args(Kind)
_OPTIONAL: tuple[Kind, ...] = ("tried", "passes")
_AT_ONCE = 1000  # rows of the index written together
_TABLES = """
CREATE TABLE IF NOT EXISTS case_ (id INTEGER PRIMARY KEY);
CREATE TABLE IF NOT EXISTS point (
    id INTEGER PRIMARY KEY, case_ INT, name TEXT, policy TEXT, place INT, UNIQUE (case_, name)
);
CREATE TABLE IF NOT EXISTS run (
    kind INT, point INT, start INT, size INT, line INT, PRIMARY KEY (kind, point, start)
) WITHOUT ROWID;
"""


@dataclass(frozen=True, eq=False)
class Part:
    """All that a case's files hold of one read point, unread: what a worker needs, and no more.

    `policy` is its part of site.json as JSON text, None where that has none; `site` is the name
    given there ("": none).
    """

    case: str
    read_point: str
    policy: str | None
    files: tuple[Excerpt, ...]
    site: str = ""

    @property
    def size(self) -> int:
        """Bytes of the rows."""
        return sum(len(file.rows) for file in self.files)

    def digest(self, *also: str) -> str:
        """SHA-256 (hex) of the content, and of `also`; the place of the rows does not show."""
        digest = hashlib.sha256()
        texts = [self.read_point, "" if self.policy is None else self.policy, *also]
        chunks = [text.encode("utf-8", "backslashreplace") for text in texts]
        for file in self.files:
            chunks += [file.kind.encode(), file.header, file.rows]
        for chunk in chunks:
            digest.update(len(chunk).to_bytes(8, "big") + chunk)
        return digest.hexdigest()

    def read(self) -> ReadPoint:
        """The read point, as `read_case` would give it; raises InputError with its faults."""
        site = Site({} if self.policy is None else {self.read_point: self._policy()})
        faults = FaultList()
        judged = {file.kind: judge(file.table(), faults) for file in self.files}
        faults.raise_any()
        policy, warnings = policy_of(site, self.read_point, SITE)
        rows = PointRows(self.read_point, policy, judged, SITE)
        found = build(rows, warnings, faults)
        faults.raise_any()
        return found[0]

    def _policy(self) -> Policy:
        assert self.policy is not None
        try:
            return parse_json(self.policy.encode("utf-8", "surrogatepass"), POLICY, SITE)
        except InputError as error:
            path = f"read_points.{self.read_point}"
            raise InputError(
                replace(fault, column=f"{path}.{fault.column}" if fault.column else path)
                for fault in error.faults
            ) from None


class Parts:
    """The read points of a case folder, one after another: those of site.json, then the others.

    Opened by `open_case`. `index` holds where their rows stand; many cases may share one.
    """

    def __init__(self, folder: Path, case: str, index: sqlite3.Connection) -> None:
        self.case = case
        self._folder = folder
        self._headers: dict[Kind, bytes] = {}
        self._stamps: dict[Kind, tuple[int, int]] = {}
        self._index = index
        index.executescript(_TABLES)
        self._number = index.execute("INSERT INTO case_ DEFAULT VALUES").lastrowid
        self._site = ""
        self._note()

    def __len__(self) -> int:
        query = "SELECT count(*) FROM point WHERE case_ = ?"
        return int(self._index.execute(query, (self._number,)).fetchone()[0])

    def names(self) -> Iterator[str]:
        """The names, in order."""
        query = "SELECT name FROM point WHERE case_ = ? ORDER BY place"
        for (name,) in self._index.execute(query, (self._number,)):
            yield name

    def __iter__(self) -> Iterator[Part]:
        """The parts, in order. Raises InputError where a file changed since it was opened."""
        query = "SELECT id, name, policy FROM point WHERE case_ = ? ORDER BY place"
        with ExitStack() as stack:
            files = {kind: stack.enter_context(self._opened(kind)) for kind in self._headers}
            for point, name, policy in self._index.execute(query, (self._number,)):
                rows = (self._rows(kind, file, point) for kind, file in files.items())
                yield Part(self.case, name, policy, tuple(rows), self._site)

    def _rows(self, kind: Kind, file: TextIO, point: int) -> Excerpt:
        header = self._headers[kind]
        if _stamp(file) != self._stamps[kind]:
            wrong = "has changed while it was worked on"
            todo = "Run it again, and leave the files as they are meanwhile."
            raise InputError.one(f"{self.case}/{kind}.csv", "", todo, wrong=wrong)
        query = "SELECT start, size, line FROM run WHERE kind = ? AND point = ? ORDER BY start"
        pieces: list[bytes] = []
        at, lines = [], []
        here = line_ends(header) + 1
        for start, size, line in self._index.execute(query, (_KINDS.index(kind), point)):
            if pieces:
                here += line_ends(pieces[-1])
            piece = os.pread(file.fileno(), size, start)
            if not piece.endswith((b"\n", b"\r")):
                piece += b"\n"
            pieces.append(piece)
            at.append(here)
            lines.append(line)
        return Excerpt(
            kind, header, b"".join(pieces), np.array(at or [here]), np.array(lines or [here])
        )

    def _note(self) -> None:
        """Walk the files once. Raises InputError where the case as a whole cannot be read."""
        faults = FaultList()
        self._note_site(faults)
        for kind in _KINDS:
            if kind in _OPTIONAL and not os.path.lexists(self._folder / f"{kind}.csv"):
                continue
            try:
                self._note_file(kind)
            except InputError as error:
                faults.take(error)
        faults.raise_any()
        self._index.create_collation("named", _natural_order)
        # those that site.json lacks come after the others, by name
        self._index.execute(
            "UPDATE point SET place = further.place FROM ("
            "SELECT id, ?2 + row_number() OVER (ORDER BY name COLLATE named) AS place"
            " FROM point WHERE case_ = ?1 AND place IS NULL"
            ") AS further WHERE point.id = further.id",
            (self._number, len(self)),
        )

    def _note_site(self, faults: FaultList) -> None:
        path = self._folder / SITE
        try:
            self._note_policies(policies_of(path))
        except (UnsoundError, sqlite3.IntegrityError):  # a read point that comes twice
            self._index.execute("DELETE FROM point WHERE case_ = ?", (self._number,))
            self._note_policies(loose_policies(path, faults))

    def _note_policies(self, policies: Policies) -> None:
        def rows() -> Iterator[tuple[str, Any]]:
            self._site = yield from policies

        self._index.executemany(
            "INSERT INTO point (case_, name, policy, place) VALUES (?, ?, ?, ?)",
            (
                (self._number, name, json.dumps(policy, sort_keys=True), place)
                for place, (name, policy) in enumerate(rows())
            ),
        )

    def _opened(self, kind: Kind) -> TextIO:
        path = self._folder / f"{kind}.csv"
        if not path.is_file():
            faults = FaultList()
            read_bytes(path, path.name, faults)
            faults.raise_any()
        try:
            return path.open(encoding="latin-1", newline="")  # a character a byte
        except OSError as error:
            todo = "Give a file that can be read."
            wrong = f"cannot be read: {reason(error)}"
            raise InputError.one(path.name, "", todo, wrong=wrong) from None

    def _note_file(self, kind: Kind) -> None:
        number, source = _KINDS.index(kind), f"{kind}.csv"
        ids: dict[str, int] = {}
        noted = 0
        with self._opened(kind) as file:
            self._stamps[kind] = _stamp(file)
            self._headers[kind], runs = runs_of(file, source, kind)
            while some := list(itertools.islice(runs, _AT_ONCE)):
                noted += len(some)
                self._index.executemany(
                    "INSERT INTO run VALUES (?, ?, ?, ?, ?)",
                    [(number, self._id(name, ids), *where) for name, *where in some],
                )
        if kind != "reads" and not noted:
            raise InputError([Fault(source, None, None, "", ONE_ROW, wrong=NO_ROW)])

    def _id(self, name: str, ids: dict[str, int]) -> int:
        """The number of a read point, new where the name is; `ids` remembers a few."""
        if name not in ids:
            its = (self._number, name)
            self._index.execute("INSERT OR IGNORE INTO point (case_, name) VALUES (?, ?)", its)
            query = "SELECT id FROM point WHERE case_ = ? AND name = ?"
            found = self._index.execute(query, its)
            if len(ids) >= _AT_ONCE:
                ids.clear()
            ids[name] = found.fetchone()[0]
        return ids[name]


def open_case(
    folder: str | Path, case: str | None = None, index: sqlite3.Connection | None = None
) -> Parts:
    """The read points of a case folder; `case` is what it is called in what comes of it.

    Raises InputError where the folder, a header or site.json as a whole cannot be read. What is
    wrong with a single read point is raised by `Part.read`.
    """
    if not is_folder(Path(folder)):
        raise no_folder(folder)
    # "": a database on disk, without a name, gone when it is closed
    own = sqlite3.connect("") if index is None else index
    return Parts(Path(folder), str(folder) if case is None else case, own)


def _stamp(file: TextIO) -> tuple[int, int]:
    status = os.fstat(file.fileno())
    return status.st_size, status.st_mtime_ns


def _natural_order(one: str, other: str) -> int:
    first, second = natural(one), natural(other)
    return (first > second) - (first < second)
