"""Bearer tokens: 256 random bits given out once, of which only the SHA-256 is kept.

A token is too long to guess, so a slow hash would add nothing but load.
"""

from __future__ import annotations

import hashlib
import re
import secrets

from sqlalchemy import delete, func, insert, select

from .database import Database, moment
from .jobs import cancel_all
from .tables import sessions, tokens

NAME_ALLOWED = "1 to 64 letters, digits, dots, dashes or underscores"
_NAME = re.compile(r"[A-Za-z0-9._-]{1,64}")


def is_client_name(name: str) -> bool:
    return _NAME.fullmatch(name) is not None


def add_token(database: Database, client: str) -> str:
    """A new token of a client, who may have several; it is shown now and never again."""
    token = f"secret_{secrets.token_urlsafe(32)}"
    with database.write() as connection:
        now = moment(connection)
        row = {"digest": digest_of_token(token), "client": client, "created": now}
        connection.execute(insert(tokens).values(row))
    return token


def client_of(database: Database, token: str) -> str | None:
    """The client whose token this is, or None."""
    with database.read() as connection:
        found = select(tokens.c.client).where(tokens.c.digest == digest_of_token(token))
        return connection.execute(found).scalar_one_or_none()


def list_clients(database: Database) -> list[tuple[str, int]]:
    """Clients with the number of their tokens, by name."""
    with database.read() as connection:
        found = select(tokens.c.client, func.count()).group_by(tokens.c.client)
        return [(client, count) for client, count in connection.execute(found.order_by("client"))]


def newest_token(database: Database, client: str) -> str | None:
    """The digest of a client's newest token, or None."""
    with database.read() as connection:
        mine = select(tokens.c.digest).where(tokens.c.client == client)
        newest = mine.order_by(tokens.c.created.desc()).limit(1)
        return connection.execute(newest).scalar_one_or_none()


def remove_tokens(database: Database, client: str) -> int:
    """Take back a client's tokens, end its sessions, cancel its jobs; what is stored stays.

    Returns how many tokens there were.
    """
    with database.write() as connection:
        cancel_all(connection, client)
        taken = select(tokens.c.digest).where(tokens.c.client == client)
        connection.execute(delete(sessions).where(sessions.c.token.in_(taken)))
        return connection.execute(delete(tokens).where(tokens.c.client == client)).rowcount


def digest_of_token(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
