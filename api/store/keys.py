"""Idempotency keys: a POST that is sent again makes nothing new and gets the first answer."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection, delete, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from .database import Database, moment
from .tables import keys

KEPT_S = 7 * 86_400.0
_BYTES = 64 * 2**20  # of the answers of one client
_KEYS = 20_000  # of one client
_PROGRESS_S = 90.0  # longer than any answer takes; then the first request is taken for dead


@dataclass(frozen=True)
class Held:
    """What a key says: begin ("new", with the nonce of its ids), or what became of it before."""

    state: Literal["new", "busy", "other", "done"]
    nonce: str = ""
    status: int = 0
    headers: Mapping[str, str] | None = None
    body: str = ""


def begin(database: Database, client: str, key: str, *, path: str, digest: str) -> Held:
    """Take a key for a request, or learn that it is taken.

    "other" means taken by another request, "busy" by this one, still in progress. A request that
    was cut off is begun anew with the same nonce, so that what it had made is found and not made
    twice.
    """
    try:
        return _begin(database, client, key, path=path, digest=digest)
    except IntegrityError:  # another server's, at this very moment
        return Held("busy")


def _begin(database: Database, client: str, key: str, *, path: str, digest: str) -> Held:
    mine = (keys.c.client == client) & (keys.c.key == key)
    with database.write() as connection:
        now = moment(connection)
        connection.execute(delete(keys).where(keys.c.created < now - KEPT_S))
        row = connection.execute(select(keys).where(mine).with_for_update()).mappings().first()
        lease = now + _PROGRESS_S
        if row is None:
            nonce = secrets.token_hex(16)
            new = {"client": client, "key": key, "created": now, "path": path, "digest": digest}
            connection.execute(insert(keys).values(**new, nonce=nonce, lease_until=lease))
            return Held("new", nonce)
        if (row["path"], row["digest"]) != (path, digest):
            return Held("other")
        if row["status"] is not None:
            headers = json.loads(row["headers"])
            return Held("done", row["nonce"], row["status"], headers, row["body"])
        if row["lease_until"] > now:
            return Held("busy")
        connection.execute(update(keys).where(mine).values(lease_until=lease))
        return Held("new", row["nonce"])


def complete_key(
    database: Database, client: str, key: str, *, status: int, headers: Mapping[str, str], body: str
) -> None:
    """Keep the answer that the key stands for from now on.

    Where a client's answers take more than their room, the oldest are forgotten.
    """
    with database.write() as connection:
        mine = (keys.c.client == client) & (keys.c.key == key)
        size = len(body.encode())
        answer = {"status": status, "headers": json.dumps(dict(headers)), "body": body}
        connection.execute(update(keys).where(mine).values({**answer, "size": size}))
        _forget_oldest(connection, client)


def _forget_oldest(connection: Connection, client: str) -> None:
    mine = keys.c.client == client
    total = select(func.count(), func.coalesce(func.sum(keys.c.size), 0)).where(mine)
    count, size = connection.execute(total).one()
    if count <= _KEYS and size <= _BYTES:
        return
    oldest = select(keys.c.key, keys.c.size).where(mine, keys.c.status.is_not(None))
    for key, taken in connection.execute(oldest.order_by(keys.c.created)).all()[:-1]:
        connection.execute(delete(keys).where(mine, keys.c.key == key))
        count, size = count - 1, size - taken
        if count <= _KEYS and size <= _BYTES:
            return


def forget_key(database: Database, client: str, key: str) -> None:
    """Give a key back: its request was refused and made nothing."""
    mine = (keys.c.client == client) & (keys.c.key == key) & keys.c.status.is_(None)
    database.make_room(lambda connection: connection.execute(delete(keys).where(mine)))


def free_keys(database: Database) -> None:
    """Let requests that a former server did not end be sent again at once."""
    cut_off = update(keys).where(keys.c.status.is_(None)).values(lease_until=0.0)
    database.make_room(lambda connection: connection.execute(cut_off))
