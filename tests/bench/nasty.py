"""Read points on which an answer is hardest to give in time, and within memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from strategist.survey.reading import read_case
from strategist.survey.records import Floats, ReadPoint
from tests.bench.made_large import large_read_point

__all__ = ["NASTY", "serial_masks_at"]

_DEMO = Path(__file__).parents[2] / "cases/linen-service"
_USER_BYTES = 62


def serial_masks_at(name: str, slots: int) -> ReadPoint:
    """A read point of the demo with masks on any four bits of serial numbers, too, solved over the
    passes surveyed."""
    return _with_serial_masks(read_case(_DEMO, name).read_points[0], slots)


def _with_serial_masks(point: ReadPoint, slots: int) -> ReadPoint:
    reader = replace(point.policy.reader, mask_slots=slots, mask_step_bits=4)
    policy = replace(point.policy, serial_masks=True, reader=reader, aim="survey")
    return replace(point, policy=policy)


def six_thousand_levels() -> ReadPoint:
    """Every hundredth of a dB from -20 to 40 dBm."""
    point = large_read_point(20, 8, 6, kinds=12, steps=5, slots=2)
    return _spread(point, 750, np.round(-20.0 + 0.01 * np.arange(6000), 2))


def _spread(point: ReadPoint, times: int, levels: Floats) -> ReadPoint:
    """Each level as so many levels; each tag of a pass turns on somewhere between two of before."""
    survey, rng = point.survey, np.random.default_rng(0)
    shift = rng.integers(0, times, (len(survey.pass_ids), len(survey.tags)))
    first = times * survey.read_level + shift[survey.read_pass, survey.read_tag]
    level = (first[:, None] + np.arange(times)).reshape(-1)
    kept = level < len(levels)
    of_read = np.repeat(np.arange(len(first)), times)[kept]
    return replace(
        point,
        survey=replace(
            survey,
            levels_dbm=levels,
            read_pass=survey.read_pass[of_read],
            read_level=level[kept],
            read_tag=survey.read_tag[of_read],
            read_rssi=survey.read_rssi[of_read],
            tried=np.ones((len(survey.pass_ids), len(levels)), bool),
        ),
    )


def thousands_of_passes() -> ReadPoint:
    """3,000 passes of 40 tags, with a thousand masks listed before merging."""
    return large_read_point(3000, 25, 40, kinds=116)


def ties() -> ReadPoint:
    """91 levels, five steps and three RSSI values: ladders tie by the million."""
    point = large_read_point(60, 7, 6, kinds=6, steps=5, slots=3, rssi_values=3)
    return _spread(point, 13, np.arange(91) / 2 - 10.0)


def long_memory() -> ReadPoint:
    """600 tags with 62 bytes of user memory, in which many share words."""
    point = large_read_point(40, 13, 15, kinds=50)
    rng = np.random.default_rng(0)
    words = [f"{word:04X}" for word in rng.integers(0, 2**16, 40)]
    tags = tuple(
        replace(tag, user="".join(rng.choice(words, _USER_BYTES // 2).tolist()))
        for tag in point.survey.tags
    )
    return _with_serial_masks(replace(point, survey=replace(point.survey, tags=tags)), 4)


NASTY: Mapping[str, Callable[[], ReadPoint]] = {
    "gate": lambda: serial_masks_at("clean-gate", 4),
    "cabinet": lambda: serial_masks_at("shelf-cabinet", 4),
    "levels": six_thousand_levels,
    "passes": thousands_of_passes,
    "ties": ties,
    "memory": long_memory,
}
