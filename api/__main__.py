"""`python -m api`: serve, administer, or work for a server elsewhere."""

from __future__ import annotations

import argparse
import errno
import ipaddress
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import nullcontext

from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from strategist import CommandParser

from .administration import add_administration
from .limits import WORKER_MIB, Limits
from .log import to_stderr
from .server import THREADS, InUseError, own_folder, serve
from .service import Service
from .store.database import StoreError, open_database
from .store.retention import Retention
from .store.tokens import list_clients
from .store.where import add_store, store_url
from .supervisor import Supervisor

_MB = 2**20


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; `argv` None takes the process's own. Returns the exit status."""
    given = sys.argv[1:] if argv is None else list(argv)
    arguments = _parser().parse_args(given)
    try:
        status: int = arguments.run(arguments)
        return status
    except (StoreError, InUseError, OSError, ArgumentError, NoSuchModuleError) as error:
        print(_said(error, arguments), file=sys.stderr)
        return 2


def _said(error: Exception, arguments: argparse.Namespace) -> str:
    """What stands in the way, and what to do about it."""
    if isinstance(error, (ArgumentError, NoSuchModuleError)):
        kind = str(getattr(arguments, "database", "")).partition(":")[0]  # the rest has a password
        todo = "Give a URL such as postgresql+psycopg://HOST/NAME."
        return f'--database: "{kind}" is no kind of database that is known here. {todo}'
    if not isinstance(error, OSError):
        said = str(error)
        return said if said.endswith(".") else f"{said}."
    if error.errno == errno.EADDRINUSE:
        place = f"{arguments.host}:{arguments.port}"
        return f"{place} is in use already. Give another --port, or stop what listens there."
    where = "" if error.filename is None else f"{error.filename}: "
    return f"{where}{(error.strerror or str(error)).lower()}. Give another place, or mend this one."


def _parser() -> argparse.ArgumentParser:
    parser = CommandParser(
        prog=f"python -m {__package__}",
        description="The JSON HTTP API of strategist.",
        allow_abbrev=False,
    )
    add_store(parser)
    parser.add_argument("--host", default="127.0.0.1", help="address to serve on (127.0.0.1)")
    parser.add_argument(
        "--port", type=_whole(0, 65_535), default=8420, help="port to serve on (8420; 0: any free)"
    )
    parser.add_argument(
        "--workers",
        type=_whole(0, 256),
        default=2,
        help="worker processes (default 2; 0: run workers elsewhere)",
    )
    _add_memory(parser)
    parser.add_argument("--open", action="store_true", help="ask for no token: on loopback only")
    parser.add_argument(
        "--client-mb",
        metavar="N",
        type=_whole(1, 10**9),
        default=Limits().stored_bytes // _MB,
        help="what a client may store, in MB (4096)",
    )
    parser.add_argument(
        "--keep-days",
        metavar="N",
        type=_whole(1, 36_500),
        help="delete answers, batches and unused surveys that are older (never)",
    )
    parser.add_argument(
        "--keep-mb",
        metavar="N",
        type=_whole(1, 10**9),
        help="delete the oldest of them where all together take more, in MB (never)",
    )
    parser.set_defaults(run=_serve)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    add_administration(commands)
    what = "work for the store of a server, here or elsewhere"
    work = commands.add_parser("work", help=what, description=what)
    add_store(work)
    work.add_argument(
        "--interactive-only",
        action="store_true",
        help="serve only requests that a client is waiting for",
    )
    _add_memory(work)
    work.set_defaults(run=_work)
    return parser


def _add_memory(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--memory-mib",
        metavar="N",
        type=_whole(512, 2**20),
        default=argparse.SUPPRESS,
        help=f"memory that a worker may take, in MiB ({WORKER_MIB})",
    )


def _memory(arguments: argparse.Namespace) -> int:
    """Of a worker, in MiB; given before or behind `work`."""
    return int(getattr(arguments, "memory_mib", WORKER_MIB))


def _whole(low: int, high: int) -> Callable[[str], int]:
    """A whole number between two others, as argparse reads it."""

    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and low <= int(text) <= high):
            raise argparse.ArgumentTypeError(
                f'"{text}" is not valid. Give a whole number from {low} to {high:,}.'
            )
        return int(text)

    return read


def _serve(arguments: argparse.Namespace) -> int:
    if arguments.open and not _is_loopback(arguments.host):
        todo = "Leave it out, or give --host 127.0.0.1 or another loopback address."
        print(f"--open asks nobody for a token. {todo}", file=sys.stderr)
        return 2
    url, folder = store_url(arguments)
    limits = Limits(stored_bytes=arguments.client_mb * _MB, worker_mib=_memory(arguments))
    total = None if arguments.keep_mb is None else arguments.keep_mb * _MB
    keep = Retention(arguments.keep_days, total)
    with nullcontext() if folder is None else own_folder(folder):
        database = open_database(url, connections=THREADS + 8)
        if not arguments.open and not list_clients(database):
            hint = f"python -m {__package__} token add NAME makes one"
            print(f"No client has a token yet: {hint} (same --data).", file=sys.stderr)
        to_stderr()
        service = Service(database, limits, arguments.open)
        serve(
            service,
            url,
            host=arguments.host,
            port=arguments.port,
            workers=arguments.workers,
            keep=keep,
            local=_is_loopback(arguments.host),
        )
    return 0


def _work(arguments: argparse.Namespace) -> int:
    """One worker, watched as those of a server are, until SIGTERM or SIGINT."""
    url, _ = store_url(arguments)
    database = open_database(url, connections=4)
    to_stderr()
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    interactive = int(arguments.interactive_only)
    memory = _memory(arguments)
    supervisor = Supervisor(
        database, url, 1 - interactive, interactive=interactive, memory_mib=memory
    )
    supervisor.start()
    stop.wait()
    supervisor.stop()
    database.close()
    return 0


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


if __name__ == "__main__":
    sys.exit(main())
