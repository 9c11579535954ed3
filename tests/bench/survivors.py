"""Errors of `tests.bench.mutants` that change nothing that a user could see, each with the reason.

A key is the file and the expression before and after, so that it outlives a change of lines.
"""

from __future__ import annotations

__all__ = ["SURVIVORS"]

SURVIVORS: dict[str, str] = {
    "strategist/radio/regions.py: 0 if hop_channels is None else whole('hop_channels', "
    "hop_channels, 1, 1000, 'channels')  →  1 if hop_channels is None else whole('hop_channels', "
    "hop_channels, 1, 1000, 'channels')": "a rule that does not ask for hops starts at 0 channels, "
    "and one that does was left before",
}
