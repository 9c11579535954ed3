"""Where the store is: the arguments that every command shares."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from sqlalchemy.engine import make_url

from .database import Database, StoreError, open_database, sqlite_url

DATABASE = "STRATEGIST_DATABASE"


def add_store(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data",
        metavar="FOLDER",
        default=argparse.SUPPRESS,
        help="folder of the store, made if there is none (strategist-data)",
    )
    parser.add_argument(
        "--database",
        metavar="URL",
        default=argparse.SUPPRESS,
        help=f"another database, such as postgresql+psycopg://… (or in {DATABASE})",
    )


def store_url(arguments: argparse.Namespace) -> tuple[str, Path | None]:
    """The URL of the store, and its folder where it is a file.

    Raises StoreError where the URL names an SQLite database that is no file of this machine.
    """
    url = getattr(arguments, "database", None) or os.environ.get(DATABASE)
    if url and not hasattr(arguments, "data"):
        return _known_url(url)
    folder = Path(getattr(arguments, "data", "strategist-data"))
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return sqlite_url(folder.resolve()), folder


def _known_url(url: str) -> tuple[str, Path | None]:
    known = make_url(url)
    if known.get_backend_name() != "sqlite":
        return url, None
    file = known.database or ""
    if not file or file == ":memory:" or file.startswith("file:") or known.query:
        raise StoreError(f"{url}: an SQLite store is a file; give its folder as --data FOLDER")
    path = Path(file).resolve()
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    return f"sqlite:///{path}", path.parent


def open_store(arguments: argparse.Namespace) -> Database:
    return open_database(store_url(arguments)[0], connections=4)
