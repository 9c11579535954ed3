"""A worker as a process: it loads what solves, and nothing of the server."""

from __future__ import annotations

import argparse
import os
import secrets
import signal
import sys
import threading
from collections.abc import Sequence
from typing import Any

import strategist
from api.limits import WORKER_MIB
from api.log import to_stderr
from api.memory import limit_memory
from api.store.where import add_store, open_store
from api.worker import Worker, pulse

__all__ = ["main"]


def main(argv: Sequence[str]) -> int:
    """Work until SIGTERM; what is in hand then goes back to the queue."""
    arguments = _parser().parse_args(argv)
    limit_memory(arguments.memory_mib)
    _ = strategist.choose, strategist.check  # public names load when they are first used
    to_stderr()
    stop = threading.Event()
    name = arguments.name or f"{os.uname().nodename[:40]}-{secrets.token_hex(8)}"
    worker = Worker(open_store(arguments), name, prompt_only=arguments.prompt_only)

    def end(*_: Any) -> None:
        stop.set()
        if worker.at is not None:
            raise SystemExit

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a Ctrl-C goes to the whole group; the server
    signal.signal(signal.SIGTERM, end)  # ends its workers itself
    threading.Thread(target=pulse, args=(worker, arguments.parent), daemon=True).start()
    worker.run(stop)
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m api work",
        description="A worker for the store of a server, here or elsewhere.",
        allow_abbrev=False,
    )
    add_store(parser)
    parser.add_argument("--prompt-only", action="store_true", help="only what clients wait for")
    parser.add_argument(
        "--memory-mib",
        type=int,
        default=WORKER_MIB,
        metavar="N",
        help=f"memory that the worker may take, in MiB ({WORKER_MIB})",
    )
    parser.add_argument("--name", default=None, help=argparse.SUPPRESS)
    parser.add_argument("--parent", type=int, default=0, help=argparse.SUPPRESS)
    return parser


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
