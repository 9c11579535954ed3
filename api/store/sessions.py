"""Sessions of browsers: opened with a token, ended by sign-out, by time, or with the token.

A session is 256 random bits that the browser alone keeps; here stands their SHA-256, as for tokens.
"""

from __future__ import annotations

import secrets

from sqlalchemy import delete, insert, select

from .database import Database, moment
from .tables import sessions, tokens
from .tokens import digest_of_token

SESSION_S = 12 * 3600.0  # a working day


def open_session(database: Database, token_digest: str) -> str | None:
    """A new session for the client of a token; None where there is no such token (any more)."""
    secret = secrets.token_urlsafe(32)
    with database.write() as connection:
        now = moment(connection)
        connection.execute(delete(sessions).where(sessions.c.expires <= now))
        there = select(tokens.c.digest).where(tokens.c.digest == token_digest)
        if connection.execute(there).first() is None:
            return None
        row = {"digest": digest_of_token(secret), "token": token_digest, "created": now}
        connection.execute(insert(sessions).values(**row, expires=now + SESSION_S))
    return secret


def client_of_session(database: Database, secret: str) -> str | None:
    """The client whose session this is, or None; with its token a session is gone at once."""
    with database.read() as connection:
        mine = (sessions.c.digest == digest_of_token(secret)) & (
            sessions.c.expires > moment(connection)
        )
        found = select(tokens.c.client).join(sessions, sessions.c.token == tokens.c.digest)
        return connection.execute(found.where(mine)).scalar_one_or_none()


def close_session(database: Database, secret: str) -> None:
    """End a session; one that is not there is ended already."""
    this = delete(sessions).where(sessions.c.digest == digest_of_token(secret))
    database.make_room(lambda connection: connection.execute(this))
