"""Surveys drawn from the demo site, straight to arrays, as `read_case` would make them of files."""

from __future__ import annotations

import json

import numpy as np

from cases.generate import Drawn, draw
from cases.linen import PLACES, Place
from strategist.survey.policy import POLICY
from strategist.survey.records import ReadPoint, Survey, Tag
from tests.surveyed import as_surveyed

__all__ = ["drawn_read_point", "read_point_of"]


def drawn_read_point(name: str, passes: int, seed: int, again: int = 0) -> ReadPoint:
    """A new survey of a read point of the demo site: its policy with the aim "survey"; `again`: its
    passes presented so many times more."""
    return read_point_of(PLACES[name], name, draw(name, passes, seed, again))


def read_point_of(place: Place, name: str, drawn: Drawn) -> ReadPoint:
    """What was drawn at a place, with its policy and the aim "survey"."""
    pass_ids = sorted({row[1] for row in drawn.roster} | {row[1] for row in drawn.reads})
    of_pass = {pass_id: number for number, pass_id in enumerate(pass_ids)}
    listed = {(of_pass[row[1]], row[2]): row[3] == "wanted" for row in drawn.roster}
    read = {(of_pass[row[1]], row[3]) for row in drawn.reads}
    banks = {row[2]: row[4:] for row in drawn.roster}
    epcs = sorted({epc for _, epc in listed} | {epc for _, epc in read})
    of_tag = {epc: number for number, epc in enumerate(epcs)}
    entries = sorted((p, of_tag[epc]) for p, epc in set(listed) | read)
    levels = [float(level) for level in place.levels_dbm]
    policy = POLICY.validate_json(json.dumps(place.policy), strict=True)
    survey = Survey(
        read_point=name,
        levels_dbm=np.array(levels),
        pass_ids=tuple(pass_ids),
        tags=tuple(_tag(epc, banks.get(epc, ("", "", ""))) for epc in epcs),
        roster_pass=np.array([p for p, _ in entries], np.int64),
        roster_tag=np.array([t for _, t in entries], np.int64),
        roster_wanted=np.array([listed.get((p, epcs[t]), False) for p, t in entries], bool),
        roster_listed=np.array([(p, epcs[t]) in listed for p, t in entries], bool),
        read_pass=np.array([of_pass[row[1]] for row in drawn.reads], np.int64),
        read_level=np.array([levels.index(float(row[2])) for row in drawn.reads], np.int64),
        read_tag=np.array([of_tag[row[3]] for row in drawn.reads], np.int64),
        read_rssi=np.array([float(row[4]) for row in drawn.reads]),
        tried=np.ones((len(pass_ids), len(levels)), bool),
    )
    return as_surveyed(ReadPoint(survey, policy))


def _tag(epc: str, banks: tuple[str, ...]) -> Tag:
    tid, user, tag_type = (text or None for text in banks)
    return Tag(epc, tid, user, tag_type)
