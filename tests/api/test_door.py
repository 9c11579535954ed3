"""Before the token: refused by the header, bounded, and told why in the form of every refusal."""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from api.door import DoorServer, _Channel
from tests.api.given import case_document
from tests.api.live import HANG_S, Live, client_token, wait_until
from tests.bench.attacks import spooled_bytes, without_a_token


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    data = tmp_path_factory.mktemp("door") / "data"
    with Live(data, "--workers", "1", token=client_token(data)) as live:
        yield live.ready()


def connected(live: Live) -> socket.socket:
    host, port = live.url.removeprefix("http://").split(":")
    return socket.create_connection((host, int(port)), timeout=HANG_S)


def said(live: Live, *parts: str | bytes) -> tuple[int, dict[str, Any]]:
    """What a connection is answered that sends some text: the status and the document."""
    with connected(live) as connection:
        for part in parts:
            connection.sendall(part.encode() if isinstance(part, str) else part)
        content = b""
        while not content.partition(b"\r\n\r\n")[2]:
            more = connection.recv(65536)
            if not more:
                break
            content += more
    head, _, body = content.partition(b"\r\n\r\n")
    return int(head.split()[1]), json.loads(body) if body.startswith(b"{") else {}


def head(live: Live, path: str, *lines: str, token: bool = True) -> str:
    given = [f"Authorization: Bearer {live._token}"] if token else []
    kind = "Content-Type: application/json"
    return "\r\n".join([f"POST {path} HTTP/1.1", "Host: x", kind, *given, *lines, "", ""])


@pytest.mark.parametrize(
    ("path", "lines", "token", "expected"),
    [
        ("/v1/surveys", ("Content-Length: 1000000",), False, (401, "unauthorized")),
        ("/v1/surveys", ("Transfer-Encoding: chunked",), False, (401, "unauthorized")),
        ("/v1/strategies", ("Content-Length: 1048577",), True, (413, "too-large")),
        ("/v1/strategies", ("Content-Length: 1048577",), False, (413, "too-large")),
        ("/v1/surveys", ("Content-Length: 67108865",), True, (413, "too-large")),
        ("/nowhere", ("Content-Length: 1048577",), True, (413, "too-large")),
        ("/v1/surveys", ("Transfer-Encoding: gzip",), True, (501, "transfer")),
        ("/v1/surveys", ("X: " + 40_000 * "x",), True, (431, "long-header")),
        ("/v1/surveys", ("Content-Length: x",), True, (400, "malformed")),
    ],
)
def test_refused_by_its_header(
    live: Live, path: str, lines: tuple[str, ...], token: bool, expected: tuple[int, str]
) -> None:
    """No byte of a body was sent."""
    status, problem = said(live, head(live, path, "X-Request-Id: r-1", *lines, token=token))
    assert (status, problem["type"]) == (expected[0], f"/docs#problem-{expected[1]}")
    assert problem["status"] == status
    assert len(problem["request_id"]) >= 3


def test_a_body_goes_on_when_it_may(live: Live) -> None:
    """Who asks first is told to go on, and chunks are taken."""
    body = json.dumps(case_document()).encode()
    length = f"Content-Length: {len(body)}"
    with connected(live) as connection:
        connection.sendall(head(live, "/v1/surveys", length, "Expect: 100-continue").encode())
        assert connection.recv(1000).startswith(b"HTTP/1.1 100")
        connection.sendall(body)
        assert connection.recv(1000).startswith(b"HTTP/1.1 201")
    chunk = f"{len(body):x}\r\n".encode() + body + b"\r\n0\r\n\r\n"
    status, made = said(live, head(live, "/v1/surveys", "Transfer-Encoding: chunked"), chunk)
    assert (status, made["id"][:3]) == (201, "su_")
    asked_first = head(live, "/v1/surveys", length, "Expect: 100-continue", token=False)
    assert said(live, asked_first)[0] == 401


def test_two_requests_on_a_connection(live: Live) -> None:
    body = json.dumps(case_document()).encode()
    one = head(live, "/v1/surveys", f"Content-Length: {len(body)}").encode() + body
    with connected(live) as connection:
        connection.sendall(one + one)
        content = b""
        while content.count(b"HTTP/1.1 201") < 2:
            more = connection.recv(65536)
            assert more, content
            content += more


def test_who_is_still_sending_hears_why(live: Live) -> None:
    """60 MB are on their way, and none of them is kept."""
    reply = live.of("x").ask("POST", "/v1/surveys", 60 * 2**20 * b" ")
    assert (reply.status, reply.json["type"]) == (401, "/docs#problem-unauthorized")
    assert live.process is not None
    assert spooled_bytes(live.process.pid) < 2**20


def refused(connection: socket.socket) -> bool:
    """Whether a request is answered before its body came."""
    connection.settimeout(1)
    with suppress(TimeoutError):
        return bool(connection.recv(1, socket.MSG_PEEK))
    return False


def test_bodies_of_a_client_at_once_are_bounded(live: Live) -> None:
    """Two long ones come; who comes later has to wait, however late the server looks at each."""
    long = head(live, "/v1/surveys", f"Content-Length: {60 * 2**20}").encode()
    with ExitStack() as stack:
        begun: list[socket.socket] = []

        def one_more_is_refused() -> bool:
            begun.append(stack.enter_context(connected(live)))
            begun[-1].sendall(long)
            return refused(begun[-1])

        wait_until(one_more_is_refused)
        answer = begun[-1].recv(65536)
        while b"#problem-queue-full" not in answer:
            more = begun[-1].recv(65536)
            assert more, answer
            answer += more
        assert answer.startswith(b"HTTP/1.1 429 ")
        assert len([one for one in begun[:-1] if not refused(one)]) == 2


def test_half_requests_keep_nobody_out(tmp_path: Path) -> None:
    """The short form of `python -m tests.bench.api_attack --only door`."""
    seen = without_a_token(tmp_path, bodies=2, halves=520)
    assert seen.spooled_bytes < 2**20
    assert seen.refused == [413, 413]
    assert seen.let_in == 5


def request(*, finished: bool, waits: bool = False, declared: int = 0) -> Any:
    return SimpleNamespace(headers_finished=finished, waits=waits, declared=declared)


@pytest.mark.parametrize(
    ("given", "active_s_ago", "expected"),
    [
        ({}, 100, True),
        ({}, 0, False),
        ({"request": request(finished=False)}, 100, True),
        ({"request": request(finished=False)}, 0, True),
        ({"request": request(finished=True, declared=100)}, 0, True),
        ({"request": request(finished=True, declared=2**26)}, 0, False),
        ({"request": request(finished=True, waits=True)}, 100, False),
        ({"requests": [1]}, 100, False),
        ({"requests": [1], "total_outbufs_len": 1}, 100, True),
        ({"requests": [1], "total_outbufs_len": 1}, 0, False),
        ({"lingers_since": 1.0}, 0, True),
    ],
)
def test_what_is_not_waited_for(given: dict[str, Any], active_s_ago: float, expected: bool) -> None:
    """Idle, slow to send, slow to read: a drop now and then makes no difference."""
    default = {"lingers_since": 0.0, "requests": [], "total_outbufs_len": 0, "request": None}
    times = {"since": time.monotonic() - 100, "last_activity": time.time() - active_s_ago}
    channel = SimpleNamespace(**(default | times | given))
    assert _Channel.overdue(channel, time.monotonic()) is expected


def test_the_oldest_half_request_of_an_address_goes() -> None:
    ended: list[str] = []

    def made(name: str, address: str, since: float, half_open: bool = True) -> Any:
        return SimpleNamespace(
            addr=(address, 1),
            since=since,
            half_open=half_open,
            handle_close=lambda: ended.append(name),
        )

    known = [made("b", "1", 2), made("a", "1", 1), made("c", "2", 0), made("d", "1", 0, False)]
    server = SimpleNamespace(
        active_channels=dict(enumerate(known)), door=SimpleNamespace(half_open=2)
    )
    DoorServer._bound(server, made("new", "1", 9))
    assert ended == ["a"]
    DoorServer._bound(server, made("new", "2", 9))
    assert ended == ["a"]


@pytest.mark.parametrize(
    ("path", "lines", "expected"),
    [
        ("/surveys", ("Content-Length: 1000000",), (401, "unauthorized")),
        ("/surveys", ("Content-Length: 10", "Cookie: strategist=x"), (401, "unauthorized")),
        ("/surveys", ("Content-Length: 10", "Cookie: =;,"), (401, "unauthorized")),
        ("/answers/st_0/hand-over", ("Content-Length: 1048577",), (413, "too-large")),
        ("/sign-in", ("Content-Length: 4097",), (413, "too-large")),
        ("/nothing", ("Content-Length: 10",), (401, "unauthorized")),
    ],
)
def test_bodies_for_pages_come_with_a_session(
    live: Live, path: str, lines: tuple[str, ...], expected: tuple[int, str]
) -> None:
    """A token is none, nor is a session one elsewhere; who signs in has none yet, and few bytes."""
    status, document = said(live, head(live, path, *lines, token=path != "/nothing"))
    assert (status, document["type"]) == (expected[0], f"/docs#problem-{expected[1]}")


def test_a_session_lets_a_body_in(live: Live) -> None:
    body = f"token={live._token}"
    own = (f"Origin: {live.url}", f"Content-Length: {len(body)}")
    kind = "application/x-www-form-urlencoded"
    taken = head(live, "/sign-in", *own, token=False).replace("application/json", kind)
    host = live.url.removeprefix("http://")
    with connected(live) as connection:
        connection.sendall((taken.replace("Host: x", f"Host: {host}") + body).encode())
        answer = connection.recv(65536).decode()
    assert " 303 " in answer.splitlines()[0]
    (cookie,) = [x.split(": ")[1].split(";")[0] for x in answer.splitlines() if "Set-Cookie" in x]
    lines = ("Content-Length: 5", f"Cookie: {cookie}")
    shown = head(live, "/sign-out", *lines, token=False)
    with connected(live) as connection:
        connection.sendall((shown + "form=").encode())
        assert " 403 " in connection.recv(65536).decode().splitlines()[0], "it came to the app"
