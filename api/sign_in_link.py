"""The link that the server prints where it serves this machine alone: good once, for an hour."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from dataclasses import dataclass, field

_LINK_S = 3600.0


@dataclass
class SignInLink:
    """256 random bits that only the terminal shows; not kept on disk."""

    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    until: float = field(default_factory=lambda: time.monotonic() + _LINK_S)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def fits(self, given: str) -> bool:
        """Whether this is the link, and nobody has used it."""
        mine = self.secret and time.monotonic() < self.until
        return bool(mine and hmac.compare_digest(given.encode(), self.secret.encode()))

    def use(self, given: str) -> bool:
        """Use it up; False where it does not fit."""
        with self._lock:
            if not self.fits(given):
                return False
            self.secret = ""
            return True
