"""The door before the app: who may send what, before any of it is kept.

waitress reads a request whole, spools it to disk, and only then calls the app; and a connection
that never ends its request keeps its place. So its channel, parser and server are refined here:

- a body is refused by its header: too long for its path, or without a valid token;
- what a client sends at once is bounded;
- a request that is not whole in time is ended, and where an address has too many of them, the
  oldest goes when another comes;
- a client that does not read its answer is let go;
- every refusal is problem details, and is sent even to who is still sending.
"""

from __future__ import annotations

import socket
import time
from collections.abc import Mapping
from functools import partial
from typing import Any

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from .headers import Door, ProblemTask, Request
from .problems import ProblemError

_HEADER_S = 15.0  # within which the header of a request must be there
_BODY_S = 30.0  # and its body, more where it is long
_BYTES_PER_S = 64 * 2**10  # slower than this a long body is not waited for
_IDLE_S = 60.0  # of a connection without a request
_UNREAD_S = 60.0  # of an answer that its client does not read on
_LINGER_S = 3.0  # in which a refused client may end sending, to be able to read why
_LOOK_S = 1


class _Leave:
    """A task that finds out whether a body may be sent: the database may have to be asked."""

    def __init__(self, channel: _Channel, request: Request) -> None:
        self.channel, self.request = channel, request

    def service(self) -> None:
        error: ProblemError | None
        try:
            error = self.channel.why_not(self.request)
        except Exception:  # the store is away
            error = ProblemError("unavailable", "Nothing of this request was kept.")
        self.channel.decide(self.request, error)

    def cancel(self) -> None:
        self.channel.cancel()


class _Channel(HTTPChannel):  # type: ignore[misc]
    """A connection that asks for leave before it takes a body, and is not waited for for ever."""

    error_task_class = ProblemTask
    request: Any
    close_when_flushed: bool
    client: str | None = None  # whose body is coming
    linger = False  # after the answer, take and drop what still comes for a moment
    lingers_since = 0.0

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self.since = time.monotonic()  # when the request in hand began, or the connection
        self.parser_class = partial(Request, self.server.door)

    # what comes in

    def readable(self) -> bool:
        if self.lingers_since:
            return True
        waits = self.request is not None and self.request.waits
        return bool(not waits and super().readable())

    def handle_read(self) -> None:
        if not self.lingers_since:
            super().handle_read()
            return
        try:
            self.recv(self.adj.recv_bytes)  # at its end it closes the connection
        except OSError:
            self.handle_close()

    def received(self, data: bytes) -> bool:
        before = self.request
        taken = bool(super().received(data))
        request = self.request
        if request is not before:
            self.since = time.monotonic()
        if request is not None and request.headers_finished and request.waits:
            self.server.add_task(_Leave(self, request))
        return taken

    def send_continue(self) -> None:
        """Only who has leave is told to go on."""
        if not self.request.waits:
            super().send_continue()

    def why_not(self, request: Request) -> ProblemError | None:
        """Why a body may not be sent, or None."""
        client = self.server.door.client(request.path, request.headers)
        if client is None:
            headers = {"WWW-Authenticate": 'Bearer realm="strategist"'}
            return ProblemError("unauthorized", "No token, or none that is valid.", headers=headers)
        self.client = client
        others = [
            other
            for other in list(self.server.active_channels.values())
            if other.client == client and other is not self
        ]
        coming = sum(other.incoming for other in others)
        if coming + request.declared > self.server.door.incoming_bytes and coming:
            retry = {"Retry-After": "5"}
            detail = "Too many bodies of yours are coming at once."
            return ProblemError("queue-full", detail, headers=retry)
        return None

    @property
    def incoming(self) -> int:
        """Bytes of the bodies that are coming, or have come and are still needed."""
        coming = self.request
        there = sum(request.content_length for request in list(self.requests))
        return int(there + (0 if coming is None else coming.declared))

    def decide(self, request: Request, error: ProblemError | None) -> None:
        """Let the body come, or refuse it."""
        with self.requests_lock:
            if self.request is not request:
                return
            request.waits = False
            if error is not None:
                request.refuse(error)
                self.request = None
                self.requests.append(request)
                if len(self.requests) == 1:
                    self.server.add_task(self)
            elif request.expect_continue and not self.requests and not self.sent_continue:
                self.send_continue()
        self.server.pull_trigger()

    # what goes out

    def handle_write(self) -> None:
        if self.linger and self.close_when_flushed:
            self._flush_exception(self._flush_some)
            if self.total_outbufs_len or self.will_close:
                return
            self.close_when_flushed = False
            self.lingers_since = time.monotonic()
            try:
                self.socket.shutdown(socket.SHUT_WR)
            except OSError:
                self.handle_close()
            return
        super().handle_write()

    # what is not waited for

    def overdue(self, now: float) -> bool:
        """Whether the connection keeps its place for too long."""
        if self.lingers_since:
            return now - self.lingers_since > _LINGER_S
        if self.requests:
            unread = time.time() - self.last_activity
            return bool(self.total_outbufs_len and unread > _UNREAD_S)
        request = self.request
        if request is None:
            return now - self.since > _IDLE_S and time.time() - self.last_activity > _IDLE_S
        if request.waits:
            return False
        if not request.headers_finished:
            return now - self.since > _HEADER_S
        return bool(now - self.since > _BODY_S + request.declared / _BYTES_PER_S)

    @property
    def half_open(self) -> bool:
        """Whether the connection has no whole request, so that nobody waits for an answer."""
        return not self.requests and not self.total_outbufs_len and not self.lingers_since


class DoorServer(TcpWSGIServer):  # type: ignore[misc]
    """A server that ends what is overdue, and bounds what one address keeps half open."""

    channel_class = _Channel
    door: Door

    def maintenance(self, now: float) -> None:
        clock = time.monotonic()
        for channel in list(self.active_channels.values()):
            if channel.overdue(clock):
                channel.handle_close()

    def handle_accept(self) -> None:
        before = set(self.active_channels)
        super().handle_accept()
        for number in set(self.active_channels) - before:
            self._bound(self.active_channels[number])

    def _bound(self, new: _Channel) -> None:
        """Where the address has too many, its oldest connection goes."""
        address = new.addr[0]
        same = [
            channel
            for channel in list(self.active_channels.values())
            if channel.addr[0] == address and channel.half_open and channel is not new
        ]
        if len(same) >= self.door.half_open:
            min(same, key=lambda channel: channel.since).handle_close()


def open_door(app: Any, door: Door, *, threads: int, settings: Mapping[str, Any]) -> DoorServer:
    """A server on each address of the host, with one loop; the first runs it for all."""
    keepalive = [
        (socket.SOL_TCP, socket.TCP_NODELAY, 1),
        (socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1),
        (socket.SOL_TCP, socket.TCP_KEEPIDLE, 30),
        (socket.SOL_TCP, socket.TCP_KEEPINTVL, 10),
        (socket.SOL_TCP, socket.TCP_KEEPCNT, 3),
    ]
    adjusted = Adjustments(
        threads=threads,
        cleanup_interval=_LOOK_S,
        channel_request_lookahead=1,  # else nobody notices that a client has gone
        asyncore_use_poll=True,  # select takes no more than 1,024 files
        **settings,
    )
    adjusted.socket_options = keepalive
    dispatcher = ThreadedTaskDispatcher()
    dispatcher.set_thread_count(threads)
    channels: dict[int, Any] = {}
    servers = []
    for address in adjusted.listen:
        server = DoorServer(
            app, channels, False, None, dispatcher=dispatcher, adj=adjusted, sockinfo=address
        )
        server.door = door
        server.accept_connections()
        servers.append(server)
    first: DoorServer = servers[0]
    return first
