"""The score: the number of a tag, at each level of a pass, that the cutoff is held against.

Let s(tag, level) be any number made of a tag's reads there, or none. "Accepted where s is at least
the cutoff" is then all that the rest of the program needs to know, so `scored` makes a survey whose
reads are the scores, one for each pass, level and tag: whatever serves a point with one antenna
serves it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass as plain_dataclass
from dataclasses import fields, replace
from typing import Annotated, Any, Literal, TypeAlias

import numpy as np
from pydantic import (
    BeforeValidator,
    Field,
    PlainSerializer,
    WithJsonSchema,
    field_validator,
    model_validator,
)
from pydantic.dataclasses import dataclass

from strategist.survey.policy import (
    ANTENNA_MAX,
    DECIMALS,
    GUARD_RSSI_DB_MAX,
    RSSI_DBM_MAX,
    RSSI_DBM_MIN,
    SAME_DB,
    STRICT,
    Antenna,
    AsWhole,
    Listed,
    Policy,
    as_mapping,
    by_antenna,
)
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["AnyScore", "Difference", "Nth", "Peak", "Score", "scored"]

READS_MAX = 1000  # of one tag at one level; nobody counts further
OFFSET_DB_MAX = 60.0


Antennas = Annotated[tuple[Antenna, ...], Field(min_length=1, max_length=ANTENNA_MAX), Listed]
Decibels = Annotated[float, Field(ge=-OFFSET_DB_MAX, le=OFFSET_DB_MAX)]
ByAntenna = Annotated[
    tuple[tuple[Antenna, Decibels], ...],
    BeforeValidator(by_antenna),
    PlainSerializer(as_mapping),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "number"}}),
    Field(json_schema_extra={"default": {}}),
]


def _each_once(antennas: tuple[int, ...] | None) -> tuple[int, ...] | None:
    if antennas is not None and len(set(antennas)) < len(antennas):
        raise ValueError("An antenna is named twice. Name each once.")
    return None if antennas is None else tuple(sorted(antennas))


class _Told:
    """JSON without the keys that are left at their defaults."""

    def to_json(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for one in fields(self):  # type: ignore[arg-type]
            value = getattr(self, one.name)
            if one.name == "kind" or value != one.default:
                pairs = one.name in ("trim_db", "offset_db")
                plain = list(value) if isinstance(value, tuple) else value
                found[one.name] = as_mapping(value) if pairs else plain
        return found


@dataclass(frozen=True, config=STRICT)
class Peak(_Told):
    """The strongest read of the antennas that are on (None: all), the others radiating nothing.

    Antenna a radiates level + `trim_db[a]`, and its RSSI counts as RSSI − `offset_db[a]`, so that
    it has a cutoff of its own: cutoff + offset. Both are 0 where they do not name it.
    """

    kind: Literal["peak"] = "peak"
    antennas: Antennas | None = None
    trim_db: ByAntenna = ()
    offset_db: ByAntenna = ()

    _sorted = field_validator("antennas")(staticmethod(_each_once))

    @model_validator(mode="after")
    def _known(self) -> Peak:
        for named in (self.trim_db, self.offset_db):
            off = {antenna for antenna, _ in named} - set(self.antennas or dict(named))
            if off:
                raise ValueError(
                    "A trim or offset is of an antenna that is not on. Name antennas that are on."
                )
        return self

    @property
    def on(self) -> tuple[int, ...] | None:
        """The antennas that are on; None: all."""
        return self.antennas


@dataclass(frozen=True, config=STRICT)
class Nth(_Told):
    """The n-th strongest read of the antennas that are on (None: all): "n reads of at least θ"."""

    kind: Literal["nth"]
    n: Annotated[int, Field(ge=1, le=READS_MAX), AsWhole]
    antennas: Antennas | None = None

    _sorted = field_validator("antennas")(staticmethod(_each_once))

    @property
    def on(self) -> tuple[int, ...] | None:
        return self.antennas


@dataclass(frozen=True, config=STRICT)
class Difference(_Told):
    """The strongest read of `antennas` less the strongest of `against`, in dB.

    An antenna without a read, or with a weaker one, counts as `floor_dbm` (None: the weakest RSSI
    of the survey, less 1 dB). A tag without a read on any of them has no score.
    """

    kind: Literal["difference"]
    antennas: Antennas
    against: Antennas
    floor_dbm: Annotated[float, Field(ge=RSSI_DBM_MIN - 1, le=RSSI_DBM_MAX)] | None = None

    _sorted = field_validator("antennas", "against")(staticmethod(_each_once))

    @model_validator(mode="after")
    def _apart(self) -> Difference:
        if set(self.antennas) & set(self.against):
            raise ValueError("An antenna stands on both sides. Name each on one side only.")
        return self

    @property
    def on(self) -> tuple[int, ...]:
        return tuple(sorted((*self.antennas, *self.against)))


AnyScore: TypeAlias = Peak | Nth | Difference | None
Score: TypeAlias = Annotated[Peak | Nth | Difference, Field(discriminator="kind")]


@plain_dataclass(frozen=True)
class Scored:
    """A read point as a score sees it: its levels are those of the strategy's steps, its reads the
    scores, and its policy's guards drift a score as far as they drift RSSI. The floor of a
    difference is told."""

    survey: Survey
    policy: Policy
    score: Peak | Nth | Difference | None


def scored(
    survey: Survey, policy: Policy, score: Peak | Nth | Difference | None, step_s: float | None
) -> Scored | None:
    """The read point in scores; None where no level is left at which all trimmed levels were
    surveyed.

    Reads later than `step_s` (None: none) do not count. Without antennas and times to look at the
    survey is itself. Under the guards both sides of a difference drift, apart: twice as far.
    """
    if isinstance(score, Difference):
        score = replace(score, floor_dbm=floor_of(survey, score))
    survey = in_time(survey, step_s)
    if score is None:
        return Scored(survey, policy, None)
    at = _levels(survey, score)
    base = np.flatnonzero(np.logical_and.reduce([one >= 0 for one in at.values()]))
    if not len(base):
        return None
    reads = _of_levels(survey, {antenna: one[base] for antenna, one in at.items()})
    rssi, keys = _SCORES[type(score)](survey, score, reads)
    found = _as_survey(survey, base, [one[base] for one in at.values()], keys, rssi)
    if not isinstance(score, Difference):
        return Scored(found, policy, score)
    if found.predicted is not None:
        wide = round(2 * found.predicted.rssi_db, DECIMALS)
        found = replace(found, predicted=replace(found.predicted, rssi_db=wide))
    guard = replace(policy.guard, rssi_db=min(2 * policy.guard.rssi_db, GUARD_RSSI_DB_MAX))
    return Scored(found, replace(policy, guard=guard), score)


def in_time(survey: Survey, step_s: float | None) -> Survey:
    """The survey without reads that came later than `step_s`; those without a time stay."""
    if step_s is None or survey.read_t_s is None:
        return survey
    late = survey.read_t_s > step_s + 10.0**-DECIMALS / 2
    return survey.with_reads(~late) if late.any() else survey


def floor_of(survey: Survey, score: Difference) -> float:
    """What an antenna without a read counts as, in dBm."""
    if score.floor_dbm is not None:
        return score.floor_dbm
    return round(float(survey.read_rssi.min(initial=RSSI_DBM_MAX)) - 1, DECIMALS)


def _levels(survey: Survey, score: Peak | Nth | Difference) -> dict[int, Ints]:
    """For each antenna that is on, the index of the level that it radiates at each level of the
    survey; −1 where that was not surveyed."""
    trims = dict(score.trim_db) if isinstance(score, Peak) else {}
    found = {}
    for antenna in score.on or survey.antennas or (0,):
        asked = survey.levels_dbm + trims.get(antenna, 0.0)
        apart = np.abs(np.subtract.outer(asked, survey.levels_dbm))
        nearest = apart.argmin(axis=1)
        found[antenna] = np.where(apart.min(axis=1) < SAME_DB, nearest, -1)
    return found


@plain_dataclass(frozen=True)
class _Reads:
    """The reads of antennas that are on: pass, step (place among the levels kept), tag, dBm."""

    antenna: Ints
    key: Ints
    rssi: Floats


def _of_levels(survey: Survey, levels: Mapping[int, Ints]) -> _Reads:
    steps, tags = len(next(iter(levels.values()))), len(survey.tags)
    named = survey.read_antenna
    parts = []
    for antenna, at in levels.items():
        step_at = np.full(len(survey.levels_dbm), -1)
        step_at[at] = np.arange(steps)
        step = step_at[survey.read_level]
        own = np.ones(len(step), bool) if named is None else named == antenna
        here = np.flatnonzero(own & (step >= 0))
        key = (survey.read_pass[here] * steps + step[here]) * tags + survey.read_tag[here]
        parts.append((np.full(len(here), antenna), key, survey.read_rssi[here]))
    return _Reads(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _peak(survey: Survey, score: Peak, reads: _Reads) -> tuple[Floats, Ints]:
    offset = np.zeros(len(reads.rssi))
    for antenna, db in score.offset_db:
        offset[reads.antenna == antenna] = db
    return _strongest(reads.key, np.round(reads.rssi - offset, DECIMALS), 1)


def _nth(survey: Survey, score: Nth, reads: _Reads) -> tuple[Floats, Ints]:
    return _strongest(reads.key, reads.rssi, score.n)


def _difference(survey: Survey, score: Difference, reads: _Reads) -> tuple[Floats, Ints]:
    keys, which = np.unique(reads.key, return_inverse=True)
    facing = np.isin(reads.antenna, score.antennas)
    sides = []
    for side in (facing, ~facing):
        strongest = np.full(len(keys), score.floor_dbm)
        np.maximum.at(strongest, which[side], reads.rssi[side])
        sides.append(strongest)
    return np.round(sides[0] - sides[1], DECIMALS), keys


_SCORES: dict[type, Any] = {Peak: _peak, Nth: _nth, Difference: _difference}


def _strongest(key: Ints, rssi: Floats, n: int) -> tuple[Floats, Ints]:
    """The n-th strongest read of each key that has so many, and those keys, ascending."""
    order = np.lexsort((-rssi, key))
    key, rssi = key[order], rssi[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    place = np.arange(len(key)) - np.repeat(first, np.diff(first, append=len(key)))
    chosen = place == n - 1
    return rssi[chosen], key[chosen]


def _as_survey(survey: Survey, base: Ints, at: list[Ints], keys: Ints, rssi: Floats) -> Survey:
    """The survey whose reads are the scores; a pair counts as tried where each antenna's was, and
    as predicted where one's was."""
    tags = len(survey.tags)
    pair, tag = np.divmod(keys, tags)
    number, step = np.divmod(pair, len(base))
    tried: Bools = np.logical_and.reduce([survey.tried[:, one] for one in at])
    predicted = survey.predicted
    if predicted is not None:
        pairs = np.logical_or.reduce([predicted.pairs[:, one] for one in at]) & tried
        predicted = replace(predicted, pairs=pairs) if pairs.any() else None
    known = tried[number, step]
    return survey.of_numbers(
        number[known],
        step[known],
        tag[known],
        rssi[known],
        levels_dbm=survey.levels_dbm[base],
        tried=tried,
        predicted=predicted,
    )
