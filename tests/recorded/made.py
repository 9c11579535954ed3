"""Small surveys of many kinds of tags, drawn from a seed, to record answers on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strategist.survey.records import Survey, Tag

__all__ = ["small_survey", "without"]

_TYPES = (None, "textile", "moulded", "textile")
_HEADS = ("3316451FD40AF000", "3036451FD41E7800", "3436451FD4000000", "AB01CD")


def small_survey(
    seed: int,
    *,
    passes: int = 8,
    tags: int = 9,
    levels: tuple[float, ...] = (10, 12, 14, 15, 18, 20, 21, 25),
    antennas: int = 0,
    types: tuple[str | None, ...] = _TYPES,
    step_db: float = 0.5,
    lost: float = 0.1,
) -> Survey:
    """Tags of several schemes and types that turn on by their own link and climb from there; a
    share `lost` of the reads fails. With antennas, each hears a tag some dB better or worse, twice
    now and then, at some second of the step."""
    rng = np.random.default_rng([73, seed])
    n = len(levels)
    carried = tuple(
        Tag(
            f"{_HEADS[t % 4]}{int(rng.integers(1 << 24)):06X}".ljust(24, "0"),
            tid=f"E28010{t % 2}0{int(rng.integers(1 << 16)):04X}0000"[:16] if t % 3 else None,
            user=f"0{t % 2}FF" if t % 4 == 1 else None,
            tag_type=types[t % len(types)],
        )
        for t in range(tags)
    )
    here = np.array([rng.permutation(tags)[: rng.integers(3, tags)] for _ in range(passes)], object)
    roster = sorted((p, int(t)) for p, some in enumerate(here) for t in some)
    roster_pass, roster_tag = np.array(roster, np.int64).T
    wanted = (roster_tag * 7 + roster_pass) % 3 > 0
    power = np.array(levels, float)
    turn_on = rng.normal(16 - 3 * wanted, 3.5)
    rows = []
    for entry in range(len(roster)):
        for antenna in range(max(1, antennas)):
            on = turn_on[entry] + (rng.normal(0, 3) if antennas else 0.0)
            over = power - on
            rssi = -45 - on + 12 * np.log1p(np.maximum(over, 0) / 12) + rng.normal(0, 0.7, n)
            rssi = np.round(rssi / step_db) * step_db
            for level in np.flatnonzero((over > 0) & (rng.random(n) >= lost)):
                for again in range(1 + (antennas > 0 and rng.random() < 0.2)):
                    at_s = round(float(rng.random()), 2)
                    rows.append((*roster[entry], level, rssi[level] - again, antenna + 1, at_s))
    columns = np.array(rows).T
    of_pass, tag, level, heard, antenna, at_s = columns
    more = {}
    if antennas:
        more = {
            "antennas": tuple(range(1, antennas + 1)),
            "read_antenna": antenna.astype(np.int64),
            "read_t_s": at_s,
        }
    return Survey(
        read_point="gate",
        levels_dbm=power,
        pass_ids=tuple(f"p{p + 1}" for p in range(passes)),
        tags=carried,
        roster_pass=roster_pass,
        roster_tag=roster_tag,
        roster_wanted=wanted,
        roster_listed=np.ones(len(roster), bool),
        read_pass=of_pass.astype(np.int64),
        read_level=level.astype(np.int64),
        read_tag=tag.astype(np.int64),
        read_rssi=heard.astype(np.float64),
        tried=np.ones((passes, n), bool),
        **more,
    )


def without(survey: Survey, seed: int, share: float = 0.3) -> Survey:
    """The survey where a share of the pairs of pass and level was not tried."""
    rng = np.random.default_rng([74, seed])
    tried = rng.random(survey.tried.shape) >= share
    tried[np.arange(len(tried)), rng.integers(0, tried.shape[1], len(tried))] = True
    kept = survey.with_reads(tried[survey.read_pass, survey.read_level])
    return replace(kept, tried=tried)
