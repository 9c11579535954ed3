"""The results of a batch on disk: what is done, what a new run may keep, and their final order."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from strategist.batch.lines import Lines
from strategist.batch.work import Done
from strategist.errors import InputError

Place = tuple[str, str]  # case and read point; "" is the read point of a case that cannot be read


class Book:
    """results.jsonl and tags.jsonl of a folder, and an index of them on disk.

    The tags of a read point are written before its result, so that a result is never without them.
    """

    def __init__(self, folder: Path, index: sqlite3.Connection) -> None:
        self.results = Lines(folder / "results.jsonl")
        try:
            self.tags = Lines(folder / "tags.jsonl")
        except InputError:
            self.results.close()
            raise
        self._index = index
        index.execute(
            "CREATE TABLE done (case_ TEXT, point TEXT, hash TEXT, ok INT, at INT, tags_hash TEXT,"
            " tags_at INT, PRIMARY KEY (case_, point))"
        )

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.results.close()
        self.tags.close()

    def look_up(self) -> None:
        """Note what the files hold. A line that cannot be believed is as if it were not there."""
        for at, line in self.tags.each():
            if "heard" in line:
                self._note("tags_hash = ?3, tags_at = ?4", line, line.get("hash"), at)
        for at, row in self.results.each():
            if "heard" in row:  # the files were mixed up
                continue
            self._note("hash = ?3, at = ?4, ok = ?5", row, row.get("hash"), at, "result" in row)

    def _note(self, what: str, line: dict[str, Any], *values: object) -> None:
        place = (line["case"], line.get("read_point") or "")
        self._index.execute("INSERT OR IGNORE INTO done (case_, point) VALUES (?, ?)", place)
        query = f"UPDATE done SET {what} WHERE case_ = ?1 AND point = ?2"
        self._index.execute(query, (*place, *values))

    @property
    def doubtful(self) -> int:
        """How many lines were not believed."""
        return self.results.doubtful + self.tags.doubtful

    def refuse_others(self, cases: Sequence[str], folder: Path) -> None:
        """Raise InputError where the folder holds results of a case that is not among `cases`."""
        for (case,) in self._index.execute("SELECT DISTINCT case_ FROM done ORDER BY case_"):
            if case not in cases:
                wrong = f"holds results of {case}, which is not among the cases"
                todo = "Name that case, too, or give another folder."
                raise InputError.one(str(folder), case, todo, wrong=wrong)

    def has(self, place: Place, digest: str) -> bool:
        """Whether a read point has a result for just this content."""
        query = (
            "SELECT 1 FROM done WHERE case_ = ?1 AND point = ?2 AND ok"
            " AND hash = ?3 AND tags_hash = ?3"
        )
        return self._index.execute(query, (*place, digest)).fetchone() is not None

    def add(self, done: Sequence[tuple[Place, str, Done]]) -> None:
        """Write answers (place, hash, answer) down for good."""
        tags = [(place, digest, one.tags) for place, digest, one in done if one.tags is not None]
        begins = self.tags.append([text for _, _, text in tags]) if tags else []
        for (place, digest, _), at in zip(tags, begins, strict=True):
            line = {"case": place[0], "read_point": place[1]}
            self._note("tags_hash = ?3, tags_at = ?4", line, digest, at)
        begins = self.results.append([one.row for _, _, one in done])
        for (place, digest, one), at in zip(done, begins, strict=True):
            line = {"case": place[0], "read_point": place[1]}
            self._note("hash = ?3, at = ?4, ok = ?5", line, digest, at, one.ok)

    def put_in_order(self, places: Iterable[Place]) -> None:
        """Leave one line for each of `places`, in their order, whatever the order of finishing."""
        self._index.execute("CREATE TABLE final (place INTEGER PRIMARY KEY, at INT, tags_at INT)")
        query = (
            "INSERT INTO final (at, tags_at) SELECT at, CASE WHEN ok THEN tags_at END FROM done"
            " WHERE case_ = ? AND point = ?"
        )
        self._index.executemany(query, places)
        self.results.reorder(self._column("at"))
        self.tags.reorder(self._column("tags_at"))

    def _column(self, name: str) -> Iterator[int]:
        query = f"SELECT {name} FROM final WHERE {name} IS NOT NULL ORDER BY place"
        for (at,) in self._index.execute(query):
            yield at
