"""Every way a request can be refused, as RFC 9457 problem details: one table, one form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from strategist.errors import Fault, InputError

_FAULTS = 200  # in one answer; the last then says how many more there are
_FOUND, _WORDS, _POINTER = 200, 600, 1000  # characters


@dataclass(frozen=True)
class Kind:
    """A kind of problem: its HTTP status, a title that never varies, and what to do about it."""

    status: int
    title: str
    advice: str


KINDS: dict[str, Kind] = {
    "malformed": Kind(
        400, "The body cannot be parsed", "Send JSON in UTF-8 without duplicate keys."
    ),
    "unauthorized": Kind(
        401, "A valid token is needed", "Send Authorization: Bearer TOKEN; token add makes one."
    ),
    "foreign": Kind(
        403,
        "Only local clients are accepted (--open)",
        "Send the request from this machine, or start the server with tokens.",
    ),
    "not-found": Kind(404, "Not found", "Check the path and the id."),
    "method": Kind(405, "This path has no such method", "The header Allow names those it has."),
    "busy-key": Kind(
        409, "The same request is still in progress", "Send it again after Retry-After seconds."
    ),
    "in-use": Kind(409, "It is still in use", "Cancel the batch, or wait until it is done."),
    "not-done": Kind(
        409, "The batch is not done yet", "Wait until nothing of it is waiting or running."
    ),
    "too-large": Kind(413, "The body is too large", "See the limits at /v1; split the survey."),
    "long-header": Kind(
        431, "The header of the request is too long", "Send fewer or shorter header fields."
    ),
    "media-type": Kind(
        415, "The type of the body is unknown", "Set the Content-Type as /docs describes."
    ),
    "invalid": Kind(422, "The request is invalid", "Correct the entries in faults."),
    "other-key": Kind(422, "This idempotency key was used for another request", "Send a new key."),
    "no-memory": Kind(
        422,
        "The request needs more memory than a worker may use",
        "Split the survey, or ask for less.",
    ),
    "long-answer": Kind(
        422, "The answer would be too large", "Split the survey, or ask for less at once."
    ),
    "queue-full": Kind(429, "Too much work is waiting", "Send it again after Retry-After seconds."),
    "transfer": Kind(501, "Unknown Transfer-Encoding", "Send the body as it is, or in chunks."),
    "internal": Kind(500, "A defect of the server", "Report the request id."),
    "unavailable": Kind(503, "The store cannot be used now", "Send it again later."),
    "no-time": Kind(
        503, "No answer within the time limit", "Try a longer limit, or a batch, or later."
    ),
    "starting": Kind(503, "The server is starting", "Send it again after Retry-After seconds."),
    "stopping": Kind(503, "The server is stopping", "Send it again after Retry-After seconds."),
    "full-store": Kind(
        507, "The store has no room left", "The operator has to make room. Send it again later."
    ),
    "full-share": Kind(
        507, "Your share of the store is used up", "Delete surveys, answers or batches."
    ),
}


def in_body(fault: Fault) -> Fault:
    """The fault of something that a request names, placed at the key that names it."""
    if fault.source == "body":
        return fault
    key = {"strategy": "strategy", "power table": "power_table"}.get(fault.source, "survey")
    return replace(fault, path=(key, *fault.path) if key == "strategy" else (key,))


@dataclass
class ProblemError(Exception):
    """A request that is refused: the kind, what is wrong this time, each fault, more headers."""

    kind: str
    detail: str
    faults: tuple[Mapping[str, Any], ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict)

    @property
    def status(self) -> int:
        return KINDS[self.kind].status


def type_of(kind: str) -> str:
    """The URI reference of a kind: its place on the page."""
    return f"/docs#problem-{kind}"


def problem_json(error: ProblemError, request_id: str) -> dict[str, Any]:
    """RFC 9457 members, the faults, and the request id that the log knows."""
    kind = KINDS[error.kind]
    found: dict[str, Any] = {
        "type": type_of(error.kind),
        "title": kind.title,
        "status": kind.status,
        "detail": error.detail,
        "request_id": request_id,
    }
    if error.faults:
        found["faults"] = list(error.faults)
    return found


def detail_of(error: InputError) -> str:
    """How many faults there are, and the first of them."""
    count = error.count
    return f"{count:,} fault{'' if count == 1 else 's'}: {str(error.faults[0])[:500]}"


def faults_json(faults: Sequence[Fault]) -> list[dict[str, Any]]:
    """The first faults, and where there are more one that says how many."""
    shown = [_fault_json(fault) for fault in faults[:_FAULTS]]
    more = sum(fault.count for fault in faults[_FAULTS:])
    if more:
        todo = f"Correct the first {_FAULTS}, which are listed, then send it again."
        source, wrong = faults[-1].source, f"{more:,} more faults"
        shown.append(_fault_json(Fault(source, None, None, wrong, todo, wrong=wrong)))
    return shown


def _fault_json(fault: Fault) -> dict[str, Any]:
    """A fault with a JSON pointer (RFC 6901) into the body, empty where it is not of one place.

    A pointer that would be very long leads to what holds the place.
    """
    pointer = ""
    for part in fault.path:
        step = str(part).replace("~", "~0").replace("/", "~1")
        if len(pointer) + len(step) > _POINTER:
            break
        pointer += f"/{step}"
    return {
        "pointer": pointer,
        "source": fault.source[:_FOUND],
        "line": fault.line,
        "column": None if fault.column is None else fault.column[:_WORDS],
        "found": fault.value[:_FOUND],
        "allowed": fault.allowed[:_WORDS],
        "detail": str(fault)[: 3 * _WORDS],
    }
