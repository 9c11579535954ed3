"""Errors of `tests.bench.mutants` that change nothing that a user could see, each with the reason.

A key is the file and the expression before and after, so that it outlives a change of lines.
"""

from __future__ import annotations

__all__ = ["SURVIVORS"]

SURVIVORS: dict[str, str] = {}
