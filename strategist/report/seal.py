"""Lines of a batch that know whether they are what was written: a checksum as their last key."""

from __future__ import annotations

import hashlib
import re

__all__ = ["is_sealed", "sealed"]

_SEAL = re.compile(rb',"checksum":"([0-9a-f]{16})"}\Z')


def sealed(text: str) -> str:
    """A JSON object as text with a key `checksum` more, of all that stands before it."""
    return f'{text[:-1]},"checksum":"{_sum(text[:-1].encode())}"}}'


def is_sealed(line: bytes) -> bool | None:
    """Whether a line is as it was written; None where it has no checksum, as in older versions."""
    found = _SEAL.search(line)
    if found is None:
        return None if b'"checksum"' not in line else False
    return found[1].decode() == _sum(line[: found.start()])


def _sum(content: bytes) -> str:
    return hashlib.blake2b(content, digest_size=8).hexdigest()
