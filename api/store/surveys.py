"""Surveys: contents exactly as they were given, judged before they come here."""

from __future__ import annotations

import hashlib
import json
import threading
import zlib
from collections import OrderedDict
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, RowMapping, delete, exists, insert, select, update

import strategist

from .database import Database, moment
from .pages import Place, page
from .tables import jobs, survey_files, surveys

if TYPE_CHECKING:
    from strategist import Bounds, Case

DOCUMENT = "survey.json"  # the name of a survey that came as one JSON text
MAPPING, IMPORTED = "mapping.json", "import.json"  # beside the files of one made of raw files
_CASES_KEPT = 4
_UNCHECKED = ""  # the summary of a survey that is not accepted yet
_CHECKED_IN_S = 600.0  # or never


def read_survey(files: Mapping[str, bytes], bounds: Bounds | None = None) -> Case:
    """The case in what a client gave: its files, or the one document. Raises InputError."""
    if DOCUMENT in files:
        document = files[DOCUMENT]
        return strategist.read_case_document(document, bounds=bounds or strategist.Bounds())
    case = {name: content for name, content in files.items() if name not in (MAPPING, IMPORTED)}
    return strategist.read_case_files(case, bounds=bounds or strategist.Bounds())


def digest_of(files: Mapping[str, bytes]) -> str:
    """SHA-256 of the contents, name by name."""
    total = hashlib.sha256()
    for name in sorted(files):
        total.update(f"{name} {len(files[name])}\n".encode())
        total.update(files[name])
    return total.hexdigest()


def add_survey(
    database: Database,
    survey_id: str,
    client: str,
    *,
    label: str,
    files: Mapping[str, bytes],
) -> RowMapping:
    """Store a survey unless it is there already (a request done again); returns its row.

    It has no summary yet and shows in no list, until `accept_survey` says what check found in it.
    Those that were left so by a server that died are deleted.
    """
    packed = _packed(survey_id, files)
    row = {
        "id": survey_id,
        "client": client,
        "label": label,
        "summary": _UNCHECKED,
        **_told_of(files, packed),
    }
    with database.write() as connection:
        known = connection.execute(select(surveys).where(surveys.c.id == survey_id)).mappings()
        found = known.one_or_none()
        if found is None:
            now = moment(connection)
            _drop_left_behind(connection, now)
            connection.execute(insert(surveys).values(**row, created=now))
            connection.execute(insert(survey_files), packed)
            again = connection.execute(select(surveys).where(surveys.c.id == survey_id))
            found = again.mappings().one()
        return found


def _packed(survey_id: str, files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    return [
        {"survey": survey_id, "name": name, "content": zlib.compress(content, 1)}
        for name, content in files.items()
    ]


def _told_of(files: Mapping[str, bytes], packed: list[dict[str, Any]]) -> dict[str, Any]:
    return {"size": sum(len(one["content"]) for one in packed), "digest": digest_of(files)}


def replace_files(database: Database, survey_id: str, files: Mapping[str, bytes]) -> None:
    """Put other files in the place of those of a survey that is not accepted yet; none where it
    was deleted meanwhile."""
    packed = _packed(survey_id, files)
    with database.write() as connection:
        this = (surveys.c.id == survey_id) & (surveys.c.summary == _UNCHECKED)
        told = _told_of(files, packed)
        if connection.execute(update(surveys).where(this).values(**told)).rowcount:
            connection.execute(delete(survey_files).where(survey_files.c.survey == survey_id))
            connection.execute(insert(survey_files), packed)


def _drop_left_behind(connection: Connection, now: float) -> None:
    old = (surveys.c.summary == _UNCHECKED) & (surveys.c.created < now - _CHECKED_IN_S)
    left = select(surveys.c.id).where(old)
    connection.execute(delete(survey_files).where(survey_files.c.survey.in_(left)))
    connection.execute(delete(surveys).where(old))


def accept_survey(database: Database, survey_id: str, summary: Mapping[str, Any]) -> RowMapping:
    """Keep a survey with what check found in it; returns its row."""
    text = json.dumps(summary, ensure_ascii=False, allow_nan=False)
    with database.write() as connection:
        this = surveys.c.id == survey_id
        connection.execute(update(surveys).where(this).values(summary=text))
        return connection.execute(select(surveys).where(this)).mappings().one()


def find_survey(database: Database, client: str, survey_id: str) -> RowMapping | None:
    """A client's survey, or None where the client has none of this id."""
    with database.read() as connection:
        mine = (surveys.c.id == survey_id) & (surveys.c.client == client)
        kept = mine & (surveys.c.summary != _UNCHECKED)
        return connection.execute(select(surveys).where(kept)).mappings().one_or_none()


def find_surveys(
    database: Database, client: str, limit: int, after: Place | None
) -> tuple[list[RowMapping], str | None]:
    """A page of a client's surveys, newest first."""
    with database.read() as connection:
        kept = (surveys.c.client == client) & (surveys.c.summary != _UNCHECKED)
        return page(connection, surveys, kept, limit, after)


def survey_file(database: Database, survey_id: str, name: str) -> bytes | None:
    """One content as given, or None."""
    with database.read() as connection:
        this = (survey_files.c.survey == survey_id) & (survey_files.c.name == name)
        packed = connection.execute(select(survey_files.c.content).where(this)).scalar_one_or_none()
    return None if packed is None else zlib.decompress(packed)


def files_of(database: Database, survey_id: str) -> dict[str, bytes]:
    """All files of a survey by name; none where it is stored no more. It asks for no client."""
    with database.read() as connection:
        found = select(survey_files).where(survey_files.c.survey == survey_id)
        rows = list(connection.execute(found).mappings())
    return {row["name"]: zlib.decompress(row["content"]) for row in rows}


def drop_survey(database: Database, client: str, survey_id: str) -> bool:
    """Delete a survey; False where jobs that are not finished need it (a sheet goes without its
    plots then). Results stay."""
    open_jobs = (jobs.c.survey == survey_id) & jobs.c.state.in_(("waiting", "running"))
    open_jobs &= jobs.c.kind != "sheet"
    mine = (surveys.c.id == survey_id) & (surveys.c.client == client)

    def drop(connection: Connection) -> bool:
        if connection.execute(select(exists().where(open_jobs))).scalar_one():
            return False
        if connection.execute(select(surveys.c.id).where(mine)).first() is not None:
            connection.execute(delete(survey_files).where(survey_files.c.survey == survey_id))
            connection.execute(delete(surveys).where(mine))
        return True

    return database.make_room(drop)


class Cases:
    """Surveys as cases: the last few stay in memory, since a batch asks for one many times."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self._kept: OrderedDict[str, Case] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, survey_id: str, bounds: Bounds | None = None) -> Case | None:
        """The case of a survey, or None where it is stored no more. Asks nothing of the client."""
        with self._lock:
            if survey_id in self._kept:
                self._kept.move_to_end(survey_id)
                return self._kept[survey_id]
        files = files_of(self.database, survey_id)
        if not files:
            return None
        case = read_survey(files, bounds)
        with self._lock:
            self._kept[survey_id] = case
            while len(self._kept) > _CASES_KEPT:
                self._kept.popitem(last=False)
        return case

    def forget(self) -> None:
        """Keep none, to have the room."""
        with self._lock:
            self._kept.clear()
