"""Names of what is stored: a prefix that says the kind, and 128 bits that nobody guesses."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Callable

ID_PATTERN = "^[a-z]{2}_[0-9a-f]{32}$"
ID_EXAMPLE = f"su_{'0123456789abcdef' * 2}"
_ID = re.compile(ID_PATTERN.removesuffix("$") + r"\Z")


def is_id(text: str) -> bool:
    return _ID.match(text) is not None


def random_id(prefix: str) -> str:
    return f"{prefix}_{secrets.token_hex(16)}"


def derived_ids(nonce: str) -> Callable[[str], str]:
    """The ids of what a request with an idempotency key makes: the same when it is done again."""
    return lambda prefix: (
        f"{prefix}_{hashlib.sha256(f'{nonce} {prefix}'.encode()).hexdigest()[:32]}"
    )
