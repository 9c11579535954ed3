"""One client that takes all it can; another beside it wants a small answer now and then."""

from __future__ import annotations

import contextlib
import threading
import time
from dataclasses import dataclass, field
from http.client import HTTPException
from pathlib import Path

from tests.api.given import case_document
from tests.api.live import ROOT, Live, client_token, wait_until

__all__ = ["HARD", "HARD_OPTIONS", "Beside", "beside_a_greedy_client", "upload_case"]

BOUNDARY = "strategist-bench"
# So hard that no solve ends before its limit: what a client who takes all it can would ask for.
HARD = {"read_point": "clean-gate"}
HARD_OPTIONS = {"method": "model", "unseen": False}


def multipart(folder: Path) -> bytes:
    """The files of a case as the body of a form."""
    parts = []
    for name in ("reads.csv", "roster.csv", "site.json"):
        head = f'Content-Disposition: form-data; name="{name}"; filename="f"\r\n\r\n'
        parts.append(f"--{BOUNDARY}\r\n{head}".encode() + (folder / name).read_bytes())
    return b"\r\n".join(parts) + f"\r\n--{BOUNDARY}--\r\n".encode()


def upload_case(live: Live) -> str:
    """The id of the demo case, uploaded by a client."""
    kind = f"multipart/form-data; boundary={BOUNDARY}"
    body = multipart(ROOT / "cases" / "linen-service")
    reply = live.ask("POST", "/v1/surveys", body, Content_Type=kind)
    assert reply.status == 201, reply.body
    return str(reply.json["id"])


def warm(live: Live, survey: str) -> None:
    """Until a first answer comes: workers of a cold machine compile."""
    body = {"survey": survey, "read_point": "gate-1"}
    wait_until(lambda: live.ask("POST", "/v1/strategies", body).status == 201)


@dataclass
class Beside:
    """What another client got beside one that takes all it can."""

    asked: int
    answered: int = 0
    refused: list[int] = field(default_factory=list)
    batch_s: float = float("inf")
    waits: list[float] = field(default_factory=list)
    greedy: dict[str, int] = field(default_factory=dict)


def beside_a_greedy_client(
    folder: Path,
    *,
    interactive: int,
    connections: int = 12,
    limit_s: float = 10.0,
    wait_s: float = 60.0,
    head_start_s: float = 8.0,
    root: Path = ROOT,
) -> Beside:
    """One client fills all places with work that lasts; another asks for small answers.

    The first has so many seconds to itself, once a batch of its is taken.
    """
    data = folder / "data"
    tokens = {name: client_token(data, name, root) for name in ("greedy", "other")}
    seen = Beside(interactive)
    stop = threading.Event()
    with Live(data, "--workers", "2", root=root) as live:
        live.ready()
        greedy, other = live.of(tokens["greedy"]), live.of(tokens["other"])
        small = other.ask("POST", "/v1/surveys", case_document()).json["id"]
        hard = upload_case(greedy)
        warm(greedy, greedy.ask("POST", "/v1/surveys", case_document()).json["id"])
        threads = [
            threading.Thread(target=run, args=(greedy, hard, seen, stop), daemon=True)
            for run in (*([_ask_on] * connections), _fill_queue, *([_stream] * 8))
        ]
        for thread in threads:
            thread.start()
        wait_until(lambda: "batch 202" in seen.greedy)
        time.sleep(head_start_s)
        _ask_beside(other, small, seen, limit_s, wait_s)
        stop.set()
        live.kill()
    return seen


def _ask_beside(other: Live, survey: str, seen: Beside, limit_s: float, wait_s: float) -> None:
    options = {"time_limit_s": limit_s}
    body = {"survey": survey, "read_point": "gate-1", "options": options}
    for _ in range(seen.asked):
        began = time.monotonic()
        with contextlib.suppress(OSError):
            status = other.ask("POST", "/v1/strategies", body).status
            seen.answered += status == 201
            seen.refused += [status] * (status != 201)
        seen.waits.append(time.monotonic() - began)
        time.sleep(0.3)
    began = time.monotonic()
    made = other.ask("POST", "/v1/batches", {"items": [{"survey": survey}]})
    if made.status != 202:
        return
    while time.monotonic() - began < wait_s:
        if other.ask("GET", f"/v1/batches/{made.json['id']}").json["state"] == "done":
            seen.batch_s = time.monotonic() - began
            return
        time.sleep(0.2)


def _ask_on(live: Live, survey: str, seen: Beside, stop: threading.Event) -> None:
    """One connection that always waits for an answer."""
    body = {"survey": survey, **HARD, "options": HARD_OPTIONS | {"time_limit_s": 30}}
    while not stop.is_set():
        try:
            status = str(live.ask("POST", "/v1/strategies", body, timeout=90).status)
        except (OSError, HTTPException):
            status = "broken"
        seen.greedy[status] = seen.greedy.get(status, 0) + 1
        stop.wait(0.2)


def _fill_queue(live: Live, survey: str, seen: Beside, stop: threading.Event) -> None:
    """Ten batches of 1,000 read points, each to be solved for ten minutes."""
    items = [{"survey": survey, "read_points": [HARD["read_point"]]}] * 1000
    for _ in range(10):
        with contextlib.suppress(OSError, HTTPException):
            body = {"items": items, "options": HARD_OPTIONS | {"time_limit_s": 600}}
            reply = live.ask("POST", "/v1/batches", body)
            key = f"batch {reply.status}"
            seen.greedy[key] = seen.greedy.get(key, 0) + 1


def _stream(live: Live, survey: str, seen: Beside, stop: threading.Event) -> None:
    """A stream that is never read to its end."""
    while not stop.wait(1.0):
        with contextlib.suppress(OSError, HTTPException):
            for batch in live.ask("GET", "/v1/batches").json.get("items", [])[:1]:
                path = f"/v1/batches/{batch['id']}/results"
                live.ask("GET", path, Accept="application/x-ndjson", timeout=30)
