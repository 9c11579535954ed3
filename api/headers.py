"""What is decided by the header of a request, before any of its body is kept."""

from __future__ import annotations

import copy
import json
import logging
import re
import secrets
from collections.abc import Callable, Mapping
from typing import Any

from waitress.adjustments import Adjustments
from waitress.parser import HTTPRequestParser
from waitress.task import ErrorTask

from .problems import KINDS, ProblemError, problem_json

_LOG = logging.getLogger("api.door")
_FRAMES = 2**16  # of a body that comes in chunks, which are counted; the app counts exactly
_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_OF_STATUS = {400: "malformed", 413: "too-large", 431: "long-header", 501: "transfer"}


class Door:
    """What the door asks of the service: how long a body may be, and who sends it.

    `body_bytes(method, path)`: how long a body may be there; `client(path, headers)`: who
    sends one, None: nobody known; it may ask the database.
    """

    def __init__(
        self,
        body_bytes: Callable[[str, str], int],
        client: Callable[[str, Mapping[str, str]], str | None],
        *,
        incoming_bytes: int,
        half_open: int,
    ) -> None:
        self.body_bytes = body_bytes
        self.client = client
        self.incoming_bytes = incoming_bytes
        self.half_open = half_open


class Refusal:
    """In place of waitress' own errors: the same answer as the app would give."""

    def __init__(self, error: ProblemError) -> None:
        self.error = error


class Request(HTTPRequestParser):  # type: ignore[misc]
    """A request that is refused, or made to wait for leave, as soon as its header is there."""

    adj: Any
    waits = False  # for leave to send its body

    def __init__(self, door: Door, adj: Adjustments) -> None:
        super().__init__(adj)
        self.door = door

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        most = self.door.body_bytes(getattr(self, "command", ""), getattr(self, "path", ""))
        if self.content_length > most:
            self.refuse(ProblemError("too-large", f"At most {most:,} bytes are taken here."))
        elif self.content_length or self.chunked:
            self.adj = copy.copy(self.adj)
            self.adj.max_request_body_size = most + _FRAMES
            self.waits = True

    def refuse(self, error: ProblemError) -> None:
        self.error, self.completed, self.waits = Refusal(error), True, False
        self.connection_close = True

    @property
    def declared(self) -> int:
        """How many bytes of body are to be expected."""
        return int(self.adj.max_request_body_size if self.chunked else self.content_length)


class ProblemTask(ErrorTask):  # type: ignore[misc]
    """A refusal before the app was asked, as problem details."""

    def execute(self) -> None:
        given = getattr(self.request.error, "error", None) or _problem_of(self.request.error)
        named = self.request.headers.get("X_REQUEST_ID", "")
        request_id = named if _REQUEST_ID.fullmatch(named) else secrets.token_hex(8)
        body = json.dumps(problem_json(given, request_id), ensure_ascii=False).encode()
        self.status = f"{given.status} {KINDS[given.kind].title}"
        self.response_headers += [
            ("Content-Type", "application/problem+json"),
            ("X-Request-Id", request_id),
            ("X-Content-Type-Options", "nosniff"),
            ("Cache-Control", "private, no-cache"),
            *given.headers.items(),
        ]
        extra = {"request_id": request_id, "status": given.status, "client": self.channel.client}
        _LOG.info("refused before it was whole", extra=extra)
        self.channel.linger = True
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


def _problem_of(error: Any) -> ProblemError:
    """An error of waitress in our words."""
    kind = _OF_STATUS.get(error.code, "internal")
    detail = "It was logged." if kind == "internal" else str(error.body)[:200]
    return ProblemError(kind, detail or "The request does not follow HTTP.")
