"""Two made-up read points that tempt an optimiser: a crib door, and one tag in four quadrants."""

from __future__ import annotations

import numpy as np

from strategist.survey.policy import Loss, Reader
from strategist.survey.records import ReadPoint
from tests.optimise.made import survey_of
from tests.surveyed import surveyed_policy
from tests.tags.uris import encode

__all__ = ["crib_door", "quadrants"]

Entry = tuple[str, bool, list[float | None]]
_LEVEL_DBM = 30.0


def crib_door(seed: int = 15, step_db: float | None = None) -> ReadPoint:
    """The door of a tool crib: in 60 passes one tool is carried through, three of the rack beyond
    are in reach. The numbering is the same, so masks tell nothing, and one level was surveyed.

    The weakest tool has −65.9 dBm and most of the rack is stronger; the strongest of the six that
    are weaker has −66.0. `step_db` is that of the reader's cutoffs (None: any).
    """
    rng = np.random.default_rng(seed)
    tools = np.round(-65.9 + np.concatenate([[0.0], rng.uniform(0.1, 5.0, 59)]), 1)
    rack = np.round(rng.uniform(-65.8, -58.0, 180), 1)
    weak = [-66.0, *rng.uniform(-67.5, -66.1, 5)]
    rack[rng.choice(180, 6, replace=False)] = np.round(weak, 1)
    passes: list[list[Entry]] = [
        [
            (_tool(number), True, [float(tool)]),
            *((_tool(1000 + place), False, [float(rack[place])]) for place in places),
        ]
        for number, (tool, places) in enumerate(
            zip(rng.permutation(tools), np.arange(180).reshape(60, 3).tolist(), strict=True)
        )
    ]
    policy = surveyed_policy(loss=Loss(5, 1), reader=Reader(rssi_step_db=step_db))
    return ReadPoint(survey_of([_LEVEL_DBM], passes), policy)


def quadrants(seed: int = 4) -> ReadPoint:
    """One tag on all sides of an antenna: 60 passes in the quadrant where it is wanted, 60 in each
    of the others, where it is a stray and a little stronger.

    A missed tag weighs two strays; whatever lets one wanted read through lets three strays through.
    """
    rng = np.random.default_rng(seed)
    facing = np.round(rng.uniform(-62.0, -50.0, 60), 1)
    passes: list[list[Entry]] = [[(_tool(1), True, [float(rssi)])] for rssi in facing]
    for stronger in (0.5, 1.0, 1.5):
        passes += [[(_tool(1), False, [round(float(rssi) + stronger, 1)])] for rssi in facing]
    policy = surveyed_policy(loss=Loss(2, 1), reader=Reader(rssi_step_db=None))
    return ReadPoint(survey_of([_LEVEL_DBM], passes), policy)


def _tool(serial: int) -> str:
    """An SGTIN-96 of an example prefix (952…), with this serial number."""
    return encode(f"urn:epc:tag:sgtin-96:1.9521141.012345.{serial}")
