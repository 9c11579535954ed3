"""Where the store is: the arguments that every command shares."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from api.store.database import Database, open_database, sqlite_url

__all__ = ["DATABASE", "add_store", "open_store", "store_url"]

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
    """The URL of the store, and its folder where it has one."""
    url = getattr(arguments, "database", None) or os.environ.get(DATABASE)
    if url and not hasattr(arguments, "data"):
        return url, None
    folder = Path(getattr(arguments, "data", "strategist-data"))
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return sqlite_url(folder.resolve()), folder


def open_store(arguments: argparse.Namespace) -> Database:
    return open_database(store_url(arguments)[0], connections=4)
