"""What all requests of one server share."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from api.limits import Limits
from api.metrics import Metrics
from api.store.database import Database
from api.store.surveys import Cases

__all__ = ["Service"]


@dataclass(eq=False)
class Service:
    """The store, the limits, and whether the server is about to stop.

    `open_to_all` means that no token is asked for: on loopback alone.
    """

    database: Database
    limits: Limits = field(default_factory=Limits)
    open_to_all: bool = False
    metrics: Metrics = field(default_factory=Metrics)
    stopping: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self.cases = Cases(self.database)
        self.streams = threading.BoundedSemaphore(self.limits.streams)
