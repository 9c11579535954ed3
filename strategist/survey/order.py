"""The order in which names stand, and how many of them a message lists."""

from __future__ import annotations

import re
from collections.abc import Sequence

_NAMED = 10


def natural(name: str) -> tuple[list[tuple[int, str]], str]:
    """Sort key: runs of digits count as numbers, so that "p2" comes before "p10"."""
    parts = re.split("([0-9]+)", name)
    return [(int(p), "") if i % 2 else (0, p) for i, p in enumerate(parts)], name


def some(names: Sequence[str]) -> str:
    """The first ten names, and how many there are when there are more."""
    listed = ", ".join(names[:_NAMED])
    return listed if len(names) <= _NAMED else f"{listed}, … ({len(names)} in all)"


def figure(number: float) -> str:
    """A power or RSSI as a person writes it: 15, 14.77, −58.5 (with a hyphen-minus)."""
    return format(float(number), ".10g")


def cent(share: float) -> str:
    """A share in whole per cent: 0.254 is "25 %"."""
    return f"{100 * share:.0f} %"


def short(mean: float) -> str:
    """A mean, with three figures."""
    return figure(float(f"{mean:.3g}"))
