"""Logs as one JSON object a line: who asked for which endpoint, and never what is in a survey."""

from __future__ import annotations

import json
import logging
import sys
import time
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flask import Request

_LOGGER = logging.getLogger("api")
_EXTRA = ("request_id", "client", "method", "endpoint", "status", "ms", "bytes_in", "worker")


class _Lines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created)),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        line |= {name: getattr(record, name) for name in _EXTRA if hasattr(record, name)}
        if record.exc_info and record.exc_info[0] is not None:
            line["error"] = record.exc_info[0].__name__
            line["where"] = _where(record.exc_info[2])
        return json.dumps(line, ensure_ascii=True)


def _where(traceback: Any) -> list[str]:
    """File and line of each frame. The text of an error may quote a survey, so it stays out."""
    found = []
    while traceback is not None:
        code = traceback.tb_frame.f_code
        found.append(f"{code.co_filename.rsplit('/', 1)[-1]}:{traceback.tb_lineno}")
        traceback = traceback.tb_next
    return found


def to_stderr() -> None:
    """Send the log, and that of the HTTP server, to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines())
    for logger in (_LOGGER, logging.getLogger("waitress")):
        logger.handlers[:] = [handler]
        logger.propagate = False
    _LOGGER.setLevel(logging.INFO)
    logging.getLogger("waitress").setLevel(logging.WARNING)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # told by /metrics, if at all


def log_request(
    request_id: str, client: str | None, request: Request, status: int, seconds: float
) -> None:
    """One line for each request: the endpoint's name, not the path, the query or the body."""
    extra = {
        "request_id": request_id,
        "client": client,
        "method": request.method,
        "endpoint": request.endpoint,
        "status": status,
        "ms": round(1000 * seconds, 1),
        "bytes_in": request.content_length,
    }
    _LOGGER.info("request", extra=extra)
