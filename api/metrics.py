"""Counts for Prometheus, in its text form (exposition format 0.0.4)."""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping

_SECONDS = (0.005, 0.025, 0.1, 0.25, 1.0, 5.0, 30.0)


class Metrics:
    """Requests by endpoint and status, and how long they took."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._requests: Counter[tuple[str, int]] = Counter()
        self._within: dict[str, list[int]] = {}
        self._seconds: Counter[str] = Counter()

    def count(self, endpoint: str, status: int, seconds: float) -> None:
        """Take note of a request that was answered."""
        with self._lock:
            self._requests[endpoint, status] += 1
            buckets = self._within.setdefault(endpoint, [0] * (len(_SECONDS) + 1))
            buckets[bisect_left(_SECONDS, seconds)] += 1
            self._seconds[endpoint] += seconds  # type: ignore[assignment]

    def text(self, jobs: Mapping[str, int]) -> str:
        """All counts; `jobs` by state come from the store."""
        with self._lock:
            lines = ["# TYPE strategist_requests_total counter"]
            for (endpoint, status), count in sorted(self._requests.items()):
                labels = f'endpoint="{endpoint}",status="{status}"'
                lines.append(f"strategist_requests_total{{{labels}}} {count}")
            lines.append("# TYPE strategist_request_seconds histogram")
            for endpoint, buckets in sorted(self._within.items()):
                lines += _histogram(endpoint, buckets, self._seconds[endpoint])
        lines.append("# TYPE strategist_jobs gauge")
        lines += [f'strategist_jobs{{state="{state}"}} {count}' for state, count in jobs.items()]
        return "\n".join(lines) + "\n"


def _histogram(endpoint: str, buckets: list[int], seconds: float) -> list[str]:
    name, label = "strategist_request_seconds", f'endpoint="{endpoint}"'
    lines, total = [], 0
    for bound, count in zip((*map(str, _SECONDS), "+Inf"), buckets, strict=True):
        total += count
        lines.append(f'{name}_bucket{{{label},le="{bound}"}} {total}')
    return [*lines, f"{name}_sum{{{label}}} {seconds:.6f}", f"{name}_count{{{label}}} {total}"]
