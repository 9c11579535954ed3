"""Generated read points of any size for the benchmarks: near and far tags, ragged reads, GS1 EPCs."""

from __future__ import annotations

import numpy as np

from strategist.survey.policy import Loss, Policy, Reader
from strategist.survey.records import ReadPoint, Survey, Tag


def large_read_point(
    passes: int,
    levels: int,
    tags_a_pass: int,
    *,
    classes: int = 24,
    seed: int = 0,
    steps: int = 5,
    slots: int = 3,
    stop_after: int = 1,
    masks: int | None = None,
    rssi_values: int | None = None,
) -> ReadPoint:
    """A read point whose wanted tags are nearer and mostly of some classes of tag data.

    Plain EPCs of 12 bytes under a header that no standard uses: 8 bytes of class data, in which
    classes share values, and a serial. `masks` adds plain bytes until about that many candidate
    masks (before merging) are listed. RSSI comes in 0.5 dB steps, or in `rssi_values` steps.
    """
    rng = np.random.default_rng(seed)
    bytes_of = rng.integers(0, 4, (classes, 8))
    serials = max(2, passes * tags_a_pass // 8 // classes)
    pool = [
        (k, f"AB{bytes(bytes_of[k].tolist()).hex()}{serial % 251:02x}{serial:04x}".upper())
        for k in range(classes)
        for serial in range(serials)
    ]
    chosen = np.array([rng.choice(len(pool), tags_a_pass, replace=False) for _ in range(passes)])
    klass = np.array([k for k, _ in pool])[chosen]
    wanted = rng.random((passes, tags_a_pass)) < np.where(klass < classes // 4, 0.4, 0.03)
    wanted[:, 0] |= ~wanted.any(axis=1)
    level = np.arange(levels)
    near = np.where(wanted, rng.normal(levels * 0.4, 2.0, wanted.shape), 0.0)
    far = np.where(wanted, 0.0, rng.normal(levels * 0.75, 4.0, wanted.shape))
    turn_on = (near + far)[:, :, None]
    read = (level >= turn_on) & (rng.random((*wanted.shape, levels)) > 0.04)
    rssi = -72.0 + (level - turn_on) * 0.9 + rng.normal(0, 1.0, (*wanted.shape, 1))
    rssi = np.round(rssi * 2) / 2
    if rssi_values is not None:
        edges = np.quantile(rssi[read], np.linspace(0, 1, rssi_values + 1)[1:-1])
        rssi = -70.0 + np.searchsorted(edges, rssi)
    p, t, at = np.nonzero(read)
    used, tag_of = np.unique(chosen, return_inverse=True)
    tag_of = tag_of.reshape(chosen.shape)
    survey = Survey(
        read_point=f"made-{passes}x{levels}x{tags_a_pass}",
        levels_dbm=10.0 + level,
        pass_ids=tuple(f"p{i:05d}" for i in range(passes)),
        tags=tuple(Tag(pool[i][1]) for i in used),
        roster_pass=np.repeat(np.arange(passes), tags_a_pass),
        roster_tag=tag_of.reshape(-1),
        roster_wanted=wanted.reshape(-1),
        roster_listed=np.ones(wanted.size, bool),
        read_pass=p,
        read_level=at,
        read_tag=tag_of[p, t],
        read_rssi=np.clip(rssi[p, t, at], -119.0, -1.0),
        tried=np.ones((passes, levels), bool),
    )
    reader = Reader(ladder_steps_max=steps, mask_slots=slots)
    policy = Policy(loss=Loss(5.0, 1.0), stop_after=stop_after, reader=reader)
    return ReadPoint(survey, policy)
