"""The clean gate with a door between it and the soiled side, which stands open or is shut.

Shut, the soiled carts' tags are 14 dB weaker one way (a door of sheet metal: common practice, no
source). A door contact tells which it is.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from cases.generate import Drawn, draw_at
from cases.linen import GATE, Place
from strategist.survey.records import ReadPoint
from tests.bench.drawn import read_point_of

DOOR_DB = 14.0
OPEN, SHUT = "door open", "door shut"


def gate_with_door(passes: int, seed: int, **policy: Any) -> ReadPoint:
    """So many passes of either kind."""
    drawn = Drawn([], [])
    for name, place in ((OPEN, GATE), (SHUT, _shut(GATE))):
        part = draw_at(place, "clean-gate", passes, seed + (name == SHUT))
        for rows, added in ((drawn.reads, part.reads), (drawn.roster, part.roster)):
            rows.extend((row[0], f"{name} {row[1]}", *row[2:]) for row in added)
    point = read_point_of(GATE, "clean-gate", drawn)
    of_pass = tuple(pass_id.rpartition(" ")[0] for pass_id in point.survey.pass_ids)
    survey = replace(point.survey, pass_condition=of_pass)
    return ReadPoint(survey, replace(point.policy, **policy))


def _shut(place: Place) -> Place:
    groups = tuple(
        replace(one, load_db=(one.load_db[0] + DOOR_DB, one.load_db[1] + DOOR_DB))
        if one.name.startswith("soiled")
        else one
        for one in place.groups
    )
    return replace(place, groups=groups)
