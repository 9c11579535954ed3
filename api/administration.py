"""What the operator of a server does to its store: tokens, clients' jobs, backups."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from .store.database import Database, StoreError
from .store.jobs import cancel_all, jobs_by_client
from .store.retention import stored_bytes
from .store.tokens import (
    NAME_ALLOWED,
    add_token,
    is_client_name,
    list_clients,
    remove_tokens,
)
from .store.where import add_store, open_store


def add_administration(commands: Any) -> None:
    """Add `token`, `jobs` and `store` to the commands of a parser."""
    token = _group(commands, "token", "add, list or remove the tokens of clients")
    _action(token, "add", _token_add, "make a token for a client and show it once", NAME_ALLOWED)
    _action(token, "list", _token_list, "list the clients and how many tokens they have")
    what = "take back all tokens of a client and cancel its jobs"
    _action(token, "remove", _token_remove, what, NAME_ALLOWED)
    jobs = _group(commands, "jobs", "list or cancel the jobs of clients")
    what = "list the clients with their jobs by state, and the MB stored for each"
    _action(jobs, "list", _jobs_list, what)
    _action(jobs, "cancel", _jobs_cancel, "cancel all that a client has open", NAME_ALLOWED)
    store = _group(commands, "store", "check the store, or copy it while it is in use")
    _action(store, "check", _store_check, "read the whole store and say whether it is sound")
    copy = _action(store, "backup", _store_backup, "copy the store into a new file")
    copy.add_argument("file", metavar="FILE", type=Path, help="made; it must not be there")


def _group(commands: Any, name: str, what: str) -> Any:
    group = commands.add_parser(name, help=what, description=what)
    return group.add_subparsers(metavar="ACTION", required=True)


def _action(
    group: Any, name: str, run: Any, what: str, of_client: str = ""
) -> argparse.ArgumentParser:
    action: argparse.ArgumentParser = group.add_parser(name, help=what, description=what)
    add_store(action)
    action.set_defaults(run=run)
    if of_client:
        action.add_argument("name", metavar="NAME", help=of_client)
    return action


def _token_add(arguments: argparse.Namespace) -> int:
    if not is_client_name(arguments.name):
        print(f'NAME: "{arguments.name}" is not valid. Give {NAME_ALLOWED}.', file=sys.stderr)
        return 2
    print(add_token(open_store(arguments), arguments.name))
    return 0


def _token_list(arguments: argparse.Namespace) -> int:
    for client, count in list_clients(open_store(arguments)):
        print(f"{client}\t{count}")
    return 0


def _token_remove(arguments: argparse.Namespace) -> int:
    removed = remove_tokens(open_store(arguments), arguments.name)
    print(f"{removed} removed")
    return 0 if removed else 1


def _jobs_list(arguments: argparse.Namespace) -> int:
    database = open_store(arguments)
    counts = jobs_by_client(database)
    names = sorted(counts.keys() | {client for client, _ in list_clients(database)})
    states = ("waiting", "running", "done", "failed", "cancelled")
    print("\t".join(("client", *states, "MB")))
    for name in names:
        of_client = counts.get(name, {})
        stored = f"{stored_bytes(database, name) / 2**20:.1f}"
        print("\t".join((name, *(str(of_client.get(state, 0)) for state in states), stored)))
    return 0


def _jobs_cancel(arguments: argparse.Namespace) -> int:
    database = open_store(arguments)
    with database.write() as connection:
        count = cancel_all(connection, arguments.name)
    print(f"{count} cancelled")
    return 0 if count else 1


def _store_check(arguments: argparse.Namespace) -> int:
    open_store(arguments).check()
    print("sound")
    return 0


def _store_backup(arguments: argparse.Namespace) -> int:
    _refuse_other(open_store(arguments)).copy_to(arguments.file)
    print(f"{arguments.file} written")
    return 0


def _refuse_other(database: Database) -> Database:
    if not database.alone:
        raise StoreError("this store is on PostgreSQL: take a backup with pg_dump")
    return database
