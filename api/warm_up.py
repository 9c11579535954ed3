"""The first answer of a process loads the libraries that solve, a second or two.

So a worker answers a made-up question before it says that it is ready.
"""

from __future__ import annotations

import json
import logging
import random
from typing import Any

from strategist import Options, choose, read_case_document, trace_frontier

_LOG = logging.getLogger("api.worker")
_LEVELS = (15, 18, 21, 24)
_POLICY = {"levels_dbm": _LEVELS}
_PASSES = 8
_TAGS = 3  # wanted, and as many stray, in each pass


def warm_up() -> None:
    """Answer a small and a middling question, so that all that they need is loaded."""
    case = read_case_document(json.dumps(_document()).encode())
    try:
        for point in case.read_points:
            choose(point, Options(unseen=False, total_limit_s=120.0))
            trace_frontier(point, Options(total_limit_s=120.0))
    except Exception:  # whoever asks for an answer will be told
        _LOG.exception("warm-up")


def _document() -> dict[str, Any]:
    """Two made-up read points: one with few candidate masks, one with many."""
    rng = random.Random(8420)
    reads, roster = [], []
    for point, free in (("few", 1), ("many", 6)):  # bytes that differ from tag to tag
        for number in range(_PASSES):
            at = {"read_point": point, "pass_id": f"p{number}"}
            for tag in range(2 * _TAGS):
                kind = "".join(rng.choice(("00", "01")) for _ in range(free))
                epc = f"{kind:0>22}{tag:02x}"
                role = "wanted" if tag < _TAGS else "stray"
                roster.append(at | {"epc": epc, "role": role})
                for level in _LEVELS:
                    if rng.random() < (0.8 if role == "wanted" else 0.5):
                        rssi = -45 - rng.randrange(30)
                        reads.append(at | {"power_dbm": level, "epc": epc, "rssi_dbm": rssi})
    site = {"site": "warm-up", "read_points": dict.fromkeys(("few", "many"), _POLICY)}
    return {"site": site, "reads": reads, "roster": roster}
