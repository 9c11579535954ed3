"""Generated read points of any size for benchmarks: near and far tags, ragged reads, GS1 EPCs."""

from __future__ import annotations

import numpy as np

from strategist.survey.policy import Loss, Reader
from strategist.survey.records import Bools, Floats, ReadPoint, Survey, Tag
from tests.surveyed import surveyed_policy
from tests.tags.uris import encode

_COMPANIES = ("9521141", "9520001", "952012", "9525555")  # prefixes that GS1 keeps for examples


def large_read_point(
    passes: int,
    levels: int,
    tags_a_pass: int,
    *,
    kinds: int = 24,
    tags_of_kind: int = 12,
    seed: int = 0,
    steps: int = 5,
    slots: int = 3,
    stop_after: int = 1,
    rssi_values: int | None = None,
    overlap: float = 0.03,
) -> ReadPoint:
    """A read point whose wanted tags are nearer and mostly of some kinds of tag.

    A kind is a company, an item reference, a chip model and a word of user memory; a quarter of the
    kinds are mostly wanted, of the others `overlap` are. 4 % of the reads above turn-on fail, so
    readability is not monotonic. RSSI comes in 0.5 dB steps, or in `rssi_values` steps.
    """
    rng = np.random.default_rng(seed)
    pool = [tag for kind in range(kinds) for tag in _tags(rng, kind, tags_of_kind)]
    chosen = np.array([rng.choice(len(pool), tags_a_pass, replace=False) for _ in range(passes)])
    near_kind = chosen // tags_of_kind < kinds // 4
    wanted = rng.random(chosen.shape) < np.where(near_kind, 0.4, overlap)
    wanted[:, 0] |= ~wanted.any(axis=1)
    turn_on = np.where(
        wanted,
        rng.normal(levels * 0.4, 2.0, wanted.shape),
        rng.normal(levels * 0.75, 4.0, wanted.shape),
    )[:, :, None]
    level = np.arange(levels)
    read = (level >= turn_on) & (rng.random((*wanted.shape, levels)) > 0.04)
    rssi = -72.0 + (level - turn_on) * 0.9 + rng.normal(0, 1.0, (*wanted.shape, 1))
    peaks: Floats = np.clip(np.round(rssi * 2) / 2, -119.0, -1.0)
    if rssi_values is not None:
        edges = np.quantile(peaks[read], np.linspace(0, 1, rssi_values + 1)[1:-1])
        peaks = (-70.0 + np.searchsorted(edges, peaks)).astype(np.float64)
    reader = Reader(ladder_steps_max=steps, mask_slots=slots)
    policy = surveyed_policy(loss=Loss(5.0, 1.0), stop_after=stop_after, reader=reader)
    return ReadPoint(_survey(pool, chosen, wanted, read, peaks), policy)


def _tags(rng: np.random.Generator, kind: int, count: int) -> list[Tag]:
    company = _COMPANIES[kind % len(_COMPANIES)]
    item = f"0{rng.integers(0, 10 ** (12 - len(company))):0{12 - len(company)}d}"
    model, word = int(rng.integers(0, 6)), int(rng.integers(0, 5))
    return [
        Tag(
            encode(f"urn:epc:tag:sgtin-96:{kind % 3}.{company}.{item}.{1000 * kind + number}"),
            tid=f"E29F0{model:03X}2000{int(rng.integers(0, 2**48)):012X}",
            user=f"{word:04X}{int(rng.integers(0, 2**16)):04X}",
        )
        for number in range(count)
    ]


def _survey(
    pool: list[Tag], chosen: np.ndarray, wanted: Bools, read: Bools, rssi: np.ndarray
) -> Survey:
    passes, tags_a_pass, levels = read.shape
    p, t, at = np.nonzero(read)
    used, tag_of = np.unique(chosen, return_inverse=True)
    tag_of = tag_of.reshape(chosen.shape)
    return Survey(
        read_point=f"made-{passes}x{levels}x{tags_a_pass}",
        levels_dbm=np.arange(10.0, 10.0 + levels),
        pass_ids=tuple(f"p{i:05d}" for i in range(passes)),
        tags=tuple(pool[i] for i in used),
        roster_pass=np.repeat(np.arange(passes), tags_a_pass),
        roster_tag=tag_of.reshape(-1),
        roster_wanted=wanted.reshape(-1),
        roster_listed=np.ones(wanted.size, bool),
        read_pass=p,
        read_level=at,
        read_tag=tag_of[p, t],
        read_rssi=rssi[p, t, at],
        tried=np.ones((passes, levels), bool),
    )
