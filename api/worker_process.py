"""A worker as a process: it loads what solves, and nothing of the server."""

from __future__ import annotations

import argparse
import logging
import os
import signal
import sys
import threading
from collections.abc import Sequence
from typing import Any

import strategist

from .log import to_stderr
from .memory import limit_memory
from .store.database import StoreError
from .store.where import add_store, open_store
from .supervisor import READY
from .warm_up import warm_up
from .worker import Worker, pulse

_LOG = logging.getLogger("api.worker")


def main(argv: Sequence[str]) -> int:
    """Work until SIGTERM; what is in hand then goes back to the queue."""
    arguments = _parser().parse_args(argv)
    limit_memory(arguments.memory_mib)
    _ = strategist.choose, strategist.check  # public names load when they are first used
    to_stderr()
    extra = {"worker": arguments.name}
    try:
        _run(arguments)
    except (StoreError, OSError) as error:
        _LOG.error("%s: %s", type(error).__name__, error, extra=extra)
        return 2
    except Exception:
        _LOG.exception("defect", extra=extra)
        return 3
    return 0


def _run(arguments: argparse.Namespace) -> None:
    stop = threading.Event()
    worker = Worker(
        open_store(arguments),
        arguments.name,
        interactive_only=arguments.interactive_only,
        places=arguments.places,
    )

    def end(*_: Any) -> None:
        stop.set()
        if worker.at is not None:
            raise SystemExit

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a Ctrl-C goes to the whole group; the server
    signal.signal(signal.SIGTERM, end)  # ends its workers itself
    threading.Thread(target=pulse, args=(arguments.parent,), daemon=True).start()
    if arguments.warm_up:
        warm_up()
    os.write(1, READY)
    worker.run(stop)


def _parser() -> argparse.ArgumentParser:
    """What a supervisor tells its workers; people start `python -m api work`."""
    parser = argparse.ArgumentParser(
        prog=f"python -m {__package__}.worker_process", allow_abbrev=False
    )
    add_store(parser)
    parser.add_argument("--interactive-only", action="store_true")
    parser.add_argument("--name", required=True)
    parser.add_argument("--parent", type=int, required=True)
    parser.add_argument("--warm-up", action="store_true")
    parser.add_argument("--places", type=int, default=1)
    parser.add_argument("--memory-mib", type=int, required=True)
    return parser


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
