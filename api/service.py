"""What all requests of one server share."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from .limits import Limits
from .metrics import Metrics
from .sign_in_link import SignInLink
from .store.database import Database
from .store.surveys import Cases


class Places:
    """Places that clients take at once: so many each, so many together."""

    def __init__(self, of_client: int, of_all: int) -> None:
        self._of_client, self._of_all = of_client, of_all
        self._taken: Counter[str] = Counter()
        self._lock = threading.Lock()

    def take(self, client: str) -> bool:
        """Take one; False where the client, or all together, have as many as they may."""
        with self._lock:
            if self._taken[client] >= self._of_client or self._taken.total() >= self._of_all:
                return False
            self._taken[client] += 1
            return True

    def leave(self, client: str) -> None:
        with self._lock:
            self._taken[client] -= 1
            if not self._taken[client]:
                del self._taken[client]

    @contextmanager
    def one(self, client: str) -> Iterator[bool]:
        """A place while the block lasts; False: there was none."""
        taken = self.take(client)
        try:
            yield taken
        finally:
            if taken:
                self.leave(client)


@dataclass(eq=False)
class Service:
    """The store, the limits, and whether the server is about to stop.

    `open_to_all` means that no token is asked for: on loopback alone. `warm` says whether the
    workers can answer at once; without workers of its own the server has nothing to wait for.
    """

    database: Database
    limits: Limits = field(default_factory=Limits)
    open_to_all: bool = False
    metrics: Metrics = field(default_factory=Metrics)
    stopping: threading.Event = field(default_factory=threading.Event)
    warm: Callable[[], bool] = lambda: True
    link: SignInLink = field(default_factory=SignInLink)

    def __post_init__(self) -> None:
        self.cases = Cases(self.database)
        limits = self.limits
        self.streams = Places(limits.streams, limits.streams_all)
        self.requests = Places(limits.requests, 2**31)
