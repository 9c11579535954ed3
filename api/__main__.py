"""`python -m api`: serve, manage tokens, or work for a server elsewhere."""

from __future__ import annotations

import argparse
import ipaddress
import sys
from collections.abc import Sequence
from contextlib import nullcontext

from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from api.limits import Limits
from api.log import to_stderr
from api.server import THREADS, InUseError, own_folder, serve
from api.service import Service
from api.store.database import StoreError, open_database
from api.store.tokens import (
    NAME_ALLOWED,
    add_token,
    is_client_name,
    list_clients,
    remove_tokens,
)
from api.store.where import add_store, open_store, store_url
from api.worker_process import main as work

__all__ = ["main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; `argv` None takes the process's own. Returns the exit status."""
    given = sys.argv[1:] if argv is None else list(argv)
    if given[:1] == ["work"]:
        return work(given[1:])
    arguments = _parser().parse_args(given)
    try:
        status: int = arguments.run(arguments)
        return status
    except (StoreError, InUseError, OSError, ArgumentError, NoSuchModuleError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m api", description="The JSON HTTP API of strategist.", allow_abbrev=False
    )
    add_store(parser)
    parser.add_argument("--host", default="127.0.0.1", help="address to serve on (127.0.0.1)")
    parser.add_argument("--port", type=int, default=8420, help="port to serve on (8420)")
    parser.add_argument(
        "--workers", type=int, default=2, help="processes that solve (2; 0: others work)"
    )
    parser.add_argument("--open", action="store_true", help="ask for no token: on loopback only")
    parser.set_defaults(run=_serve)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    token = commands.add_parser("token", help="add, list or remove the tokens of clients")
    actions = token.add_subparsers(metavar="ACTION", required=True)
    for name, run, what in (
        ("add", _token_add, "make a token for a client and show it once"),
        ("list", _token_list, "list the clients and how many tokens they have"),
        ("remove", _token_remove, "take back all tokens of a client"),
    ):
        action = actions.add_parser(name, help=what, description=what)
        add_store(action)
        action.set_defaults(run=run)
        if name != "list":
            action.add_argument("name", metavar="NAME", help=NAME_ALLOWED)
    commands.add_parser(
        "work", help="a worker for the store of a server, here or elsewhere", add_help=False
    )
    return parser


def _serve(arguments: argparse.Namespace) -> int:
    if arguments.open and not _is_loopback(arguments.host):
        print("--open: only with --host 127.0.0.1 or another loopback address", file=sys.stderr)
        return 2
    url, folder = store_url(arguments)
    limits = Limits()
    with nullcontext() if folder is None else own_folder(folder):
        database = open_database(url, connections=THREADS + 8)
        if not arguments.open and not list_clients(database):
            hint = "python -m api token add NAME makes one"
            print(f"No client has a token yet: {hint} (same --data).", file=sys.stderr)
        to_stderr()
        service = Service(database, limits, arguments.open)
        host, port = arguments.host, arguments.port
        serve(service, url, host=host, port=port, workers=arguments.workers, limits=limits)
    return 0


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _token_add(arguments: argparse.Namespace) -> int:
    if not is_client_name(arguments.name):
        print(f'NAME: found "{arguments.name}"; allowed: {NAME_ALLOWED}', file=sys.stderr)
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


if __name__ == "__main__":
    sys.exit(main())
