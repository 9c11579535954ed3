"""Work for the tests of the engine: jobs of which some end the process that works on them."""

from __future__ import annotations

import os
from dataclasses import dataclass


@dataclass(frozen=True)
class Number:
    value: int
    deadly: bool = False
    size: int = 1


def doubled(jobs: tuple[Number, ...]) -> list[int]:
    if any(job.deadly for job in jobs):
        os._exit(1)
    return [2 * job.value for job in jobs]
