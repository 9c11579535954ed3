"""What must hold, what was seen, and whether it held: a table and an exit status."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Held", "tell"]


@dataclass(frozen=True)
class Held:
    """One thing that must hold, with what was seen in words; `holds` None: shown, not judged."""

    what: str
    seen: str
    must: str = ""
    holds: bool | None = None


def tell(title: str, rows: Sequence[Held]) -> int:
    """Print the table; the exit status is 1 where something did not hold."""
    wide = max(len(row.what) for row in rows)
    seen = max(len(row.seen) for row in rows)
    must = max(len(row.must) for row in rows)
    print(f"\n{title}")
    for row in rows:
        verdict = {None: "", True: "holds", False: "BROKEN"}[row.holds]
        print(f"  {row.what:<{wide}}  {row.seen:>{seen}}  {row.must:<{must}}  {verdict}".rstrip())
    broken = sum(row.holds is False for row in rows)
    if any(row.holds is not None for row in rows):
        print(f"  {broken} broken" if broken else "  all hold")
    return 1 if broken else 0
