"""The policy of a read point: what the planner allows, fears and weighs (its part of site.json)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    TypeAdapter,
    WithJsonSchema,
    field_validator,
    model_validator,
)
from pydantic.dataclasses import dataclass

ANTENNA_MAX = 255  # more than any reader has
LEVEL_DBM_MIN, LEVEL_DBM_MAX = -20.0, 40.0  # conducted transmit power that a survey may hold
RSSI_DBM_MIN, RSSI_DBM_MAX = -120.0, 0.0  # peak RSSI that a reader may report
GUARD_POWER_DB_MAX, GUARD_RSSI_DB_MAX = 30.0, 60.0
FAILED_READS_MAX = 0.9  # more of them failing is no link
PREDICT_BETWEEN_DB = 4.0  # levels this far apart hold a prediction between them
PREDICT_BEYOND_DB = 1.0  # and one this far beyond the last
STOP_AFTER_MAX = 10**6  # tags; more than any field holds
DECIMALS = 6  # levels and RSSI are rounded to this, so that equal figures are equal numbers
SAME_DB = 1e-6  # levels and cutoffs no further apart are the same
NAME_CHARACTERS_MAX = 200
NAME_ALLOWED = f"text of 1 to {NAME_CHARACTERS_MAX} printable characters"

STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


def _whole(value: Any) -> Any:
    """JSON Schema calls 3.0 an integer; so do we."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _as_tuple(value: Any) -> Any:
    """Lists are as good as tuples, as in JSON."""
    return tuple(value) if isinstance(value, list) else value


def by_antenna(value: Any) -> Any:
    """{"3": x} as ((3, x),), by antenna; what is no mapping is left to be refused."""
    if not isinstance(value, Mapping):
        return value
    if any(not str(name).isdecimal() for name in value):
        raise ValueError('antennas as keys, such as {"3": …}')
    return tuple(sorted(((int(name), one) for name, one in value.items()), key=lambda x: x[0]))


def as_mapping(pairs: tuple[tuple[int, Any], ...]) -> dict[str, Any]:
    """The same turned back."""
    return {str(antenna): value for antenna, value in pairs}


def _printable(text: str) -> str:
    if not is_name(text):
        raise ValueError(NAME_ALLOWED)
    return text


def is_name(text: str) -> bool:
    """Whether a text may name a read point or a pass: it is printed, so it must be printable."""
    fits = 0 < len(text) <= NAME_CHARACTERS_MAX
    return fits and all(c.isprintable() or c == "\u00a0" for c in text)


def ascending(levels: tuple[float, ...] | None) -> tuple[float, ...] | None:
    """Levels as they are kept: rounded, ascending; ValueError where one is named twice."""
    if levels is None:
        return None
    rounded = {round(float(level), DECIMALS) for level in levels}
    if len(rounded) < len(levels):
        raise ValueError("each level once")
    return tuple(sorted(rounded))


Whole = Annotated[int, BeforeValidator(_whole)]
Listed = BeforeValidator(_as_tuple)
Antenna = Annotated[Whole, Field(ge=1, le=ANTENNA_MAX)]
Name = Annotated[str, AfterValidator(_printable)]
Dbm = Annotated[float, Field(ge=LEVEL_DBM_MIN, le=LEVEL_DBM_MAX)]
Technique = Literal["power", "ladder", "cutoff", "masks", "antennas"]
TECHNIQUES: tuple[Technique, ...] = ("power", "ladder", "cutoff", "masks", "antennas")
RegionName = Literal["fcc-902-928", "etsi-865-868", "etsi-915-921"]  # of radio/regions.py
LinkName = Literal["fm0-640", "fm0-320", "miller2-320", "miller4-256", "miller8-160"]
REGION_NAMES: tuple[RegionName, ...] = get_args(RegionName)
Megahertz = Annotated[float, Field(ge=840, le=960)]  # where UHF tags of Gen2 are used


class _Brief:
    """Shown by what differs from the defaults."""

    def __repr__(self) -> str:
        told = [
            f"{field.name}={getattr(self, field.name)!r}"
            for field in fields(self)  # type: ignore[arg-type]
            if getattr(self, field.name) != field.default
        ]
        return f"{type(self).__name__}({', '.join(told)})"


@dataclass(frozen=True, config=STRICT, repr=False)
class Loss(_Brief):
    """Weight of one missed wanted tag and of one stray tag reported.

    Bounded, since losses are compared to six decimals.
    """

    missed: Annotated[float, Field(ge=1e-3, le=1e6)] = 5.0
    stray: Annotated[float, Field(ge=1e-3, le=1e6)] = 1.0

    def little(self, loss: float) -> float:
        """What is little beside a loss: one missed tag, or 5 % of it where that is more."""
        return round(max(self.missed, 0.05 * loss), DECIMALS)


@dataclass(frozen=True, config=STRICT, repr=False)
class Reader(_Brief):
    """What the reader can do: steps of a ladder, masks in a chain, mask alignment and size (bits).

    A mask starts and ends on a multiple of `mask_step_bits` of its bank's data. Cutoffs that can be
    set are the multiples of `rssi_step_db` (None: any cutoff), levels those of `power_levels_dbm`
    (None: any level): a strategy that cannot be set is not proposed.
    """

    ladder_steps_max: Annotated[Whole, Field(ge=1, le=32)] = 5
    mask_slots: Annotated[Whole, Field(ge=0, le=32)] = 3
    mask_step_bits: Annotated[Whole, Field(ge=1, le=64)] = 8
    mask_bits_max: Annotated[Whole, Field(ge=1, le=255)] = 96  # Select's Length field has 8 bits
    rssi_step_db: Annotated[float, Field(ge=0.01, le=20)] | None = 0.5
    power_levels_dbm: Annotated[tuple[Dbm, ...], Field(min_length=1), Listed] | None = None

    @field_validator("power_levels_dbm")
    @classmethod
    def _ascending(cls, levels: tuple[float, ...] | None) -> tuple[float, ...] | None:
        return ascending(levels)

    def can_set_level(self, level_dbm: float) -> bool:
        """Whether a level is one that the reader can be set to."""
        levels = self.power_levels_dbm
        return levels is None or any(abs(level - level_dbm) < SAME_DB for level in levels)

    def can_set_cutoff(self, cutoff_dbm: float) -> bool:
        """Whether a cutoff is a multiple of the reader's step."""
        if self.rssi_step_db is None:
            return True
        steps = round(cutoff_dbm / self.rssi_step_db)
        return abs(steps * self.rssi_step_db - cutoff_dbm) < SAME_DB


@dataclass(frozen=True, config=STRICT, repr=False)
class Guard(_Brief):
    """How far (dB) power and RSSI may drift before the guarded loss looks at the damage."""

    power_db: Annotated[float, Field(ge=0, le=GUARD_POWER_DB_MAX)] = 1.0
    rssi_db: Annotated[float, Field(ge=0, le=GUARD_RSSI_DB_MAX)] = 2.0


@dataclass(frozen=True, config=STRICT, repr=False)
class Limits(_Brief):
    """Hard limits; None means no limit. Missed per wanted tag presented; strays per pass."""

    missed_rate_max: Annotated[float, Field(ge=0, le=1)] | None = None
    stray_rate_max: Annotated[float, Field(ge=0)] | None = None

    def excess(self, missed_rate: float | None, stray_rate: float) -> float:
        """By how much the rates are over the limits, summed; `missed_rate` None: nothing wanted."""
        over = 0.0
        if self.missed_rate_max is not None and missed_rate is not None:
            over += max(0.0, missed_rate - self.missed_rate_max)
        if self.stray_rate_max is not None:
            over += max(0.0, stray_rate - self.stray_rate_max)
        return over


@dataclass(frozen=True, config=STRICT, repr=False)
class RadiatedLimit(_Brief):
    """A limit of the planner's own: `dbm` as e.r.p. or e.i.r.p. in a band; `rule` says whence."""

    dbm: Annotated[float, Field(ge=-20, le=60)]
    kind: Literal["erp", "eirp"]
    low_mhz: Megahertz
    high_mhz: Megahertz
    rule: Name = "limit given in site.json"

    @model_validator(mode="after")
    def _band(self) -> RadiatedLimit:
        if self.high_mhz < self.low_mhz:
            raise ValueError("high_mhz not below low_mhz")
        return self


@dataclass(frozen=True, config=STRICT, repr=False)
class Radio(_Brief):
    """Antenna, cable and rules. There is no default region: without one nothing is claimed.

    `antenna_gain_dbi` is the data sheet's, in its best direction (dBic for a circular antenna).
    `count_linear_component` counts a circular antenna 3 dB less where the region knows that
    practice. Without `cable_loss_db` none is counted, which is the careful assumption. `exposure`
    names the guideline (None: FCC in the FCC's band, else ICNIRP), `ground_factor` what reflection
    does to the power density (None: 2.56 for FCC, as OET-65 has it, else 1). `distance_m` is how
    far the wanted tags are from the antenna; `check` holds it against the link budget.
    """

    region: RegionName | None = None
    limit: RadiatedLimit | None = None
    hop_channels: Annotated[Whole, Field(ge=1, le=1000)] | None = None
    antenna_gain_dbi: Annotated[float, Field(ge=-30, le=30)] | None = None
    polarisation: Literal["circular", "linear"] | None = None
    count_linear_component: bool = False
    cable_loss_db: Annotated[float, Field(ge=0, le=30)] = 0.0
    exposure: Literal["icnirp", "fcc"] | None = None
    ground_factor: Annotated[float, Field(ge=1, le=4)] | None = None
    distance_m: Annotated[float, Field(ge=0.05, le=100)] | None = None

    @model_validator(mode="after")
    def _one_rule(self) -> Radio:
        if self.region is not None and self.limit is not None:
            raise ValueError("region or limit, not both")
        return self


StepSeconds = Annotated[float, Field(gt=0, le=3600)]


@dataclass(frozen=True, config=STRICT, repr=False)
class AntennaRadio(_Brief):
    """What differs from `Radio` at one antenna; None: nothing."""

    antenna_gain_dbi: Annotated[float, Field(ge=-30, le=30)] | None = None
    cable_loss_db: Annotated[float, Field(ge=0, le=30)] | None = None


@dataclass(frozen=True, config=STRICT, repr=False)
class Dwell(_Brief):
    """How long a pass lasts (`dwell_s`, None: no limit), and how long one ladder step takes.

    `step_s` is the whole step as measured with the reader, or several of which one is chosen; where
    reads carry a time, later ones do not count. Or `link` names how reader and tags talk, from
    which a step is estimated: `tags_in_field` tags that answer (None: the most that any surveyed
    pass presents), `overhead_s` of the reader's own time, and `failed_read_rate`, the share of
    reads that fail though the tag answers alone (None: the come-and-go of the survey, which is less
    where it listened long at a level).
    """

    dwell_s: Annotated[float, Field(gt=0, le=86400)] | None = None
    step_s: StepSeconds | Annotated[tuple[StepSeconds, ...], Field(min_length=1), Listed] | None = (
        None
    )
    link: LinkName | None = None
    tags_in_field: Annotated[Whole, Field(ge=0, le=2000)] | None = None
    overhead_s: Annotated[float, Field(ge=0, le=60)] = 0.0
    failed_read_rate: Annotated[float, Field(ge=0, le=FAILED_READS_MAX)] | None = None

    @property
    def steps_s(self) -> tuple[float | None, ...]:
        """The dwells of a step to choose from, ascending; one None where none is given."""
        given = self.step_s if isinstance(self.step_s, tuple) else (self.step_s,)
        return tuple(sorted(set(given), key=lambda one: one or 0.0))

    def listening(self, step_s: float | None) -> Dwell:
        """With one dwell of a step: that of a strategy, else the longest that is given."""
        return replace(self, step_s=self.steps_s[-1] if step_s is None else step_s)

    @model_validator(mode="after")
    def _one_way(self) -> Dwell:
        if self.step_s is not None and self.link is not None:
            raise ValueError("step_s (measured) or link (estimated), not both")
        of_link = (self.tags_in_field, self.overhead_s or None, self.failed_read_rate)
        if self.link is None and of_link != (None, None, None):
            raise ValueError("link, where tags_in_field, overhead_s or failed_read_rate is given")
        if self.dwell_s is not None and self.step_s is None and self.link is None:
            raise ValueError("step_s or link as well, or how long a step takes is not known")
        return self


@dataclass(frozen=True, config=STRICT, repr=False)
class Policy(_Brief):
    """Everything about a read point that is decided and not measured; defaults are the norm.

    `levels_dbm` None means: the levels found in the reads. `untried` says what to do with (pass,
    level) pairs that were not surveyed: refuse to solve, leave out their levels or their passes.
    `antennas` are those that exist, with what differs from `radio` (none: those that reads name).
    `serial_masks` lets masks test serial parts, which hold for the surveyed tags alone.
    `predict_levels` fills in pairs that were not surveyed by a model of each tag's link, before
    `untried` looks at what is left: where the level lies between two levels surveyed in that pass
    that are at most `PREDICT_BETWEEN_DB` apart, or at most `PREDICT_BEYOND_DB` beyond the last.
    Without tried.csv, levels of `levels_dbm` that no read names then count as not surveyed.
    """

    levels_dbm: Annotated[tuple[Dbm, ...], Field(min_length=1), Listed] | None = None
    unlisted: Literal["stray", "ignore", "error"] = "stray"
    loss: Loss = Loss()
    stop_after: Annotated[Whole, Field(ge=1, le=STOP_AFTER_MAX)] = 1
    allow: Annotated[tuple[Technique, ...], Listed] = TECHNIQUES
    reader: Reader = Reader()
    guard: Guard = Guard()
    limits: Limits = Limits()
    radio: Radio = Radio()
    time: Dwell = Dwell()
    antennas: Annotated[
        tuple[tuple[Antenna, AntennaRadio], ...],
        BeforeValidator(by_antenna),
        PlainSerializer(as_mapping),
        WithJsonSchema({"type": "object"}),
        Field(json_schema_extra={"default": {}}),
    ] = ()
    serial_masks: bool = False
    untried: Literal["refuse", "leave_out_level", "leave_out_pass"] = "refuse"
    predict_levels: bool = False

    @field_validator("levels_dbm")
    @classmethod
    def _ascending(cls, levels: tuple[float, ...] | None) -> tuple[float, ...] | None:
        return ascending(levels)

    def radio_of(self, antenna: int) -> Radio:
        """Gain and cable of one antenna."""
        own = dict(self.antennas).get(antenna, AntennaRadio())
        gain, loss = own.antenna_gain_dbi, own.cable_loss_db
        return replace(
            self.radio,
            antenna_gain_dbi=self.radio.antenna_gain_dbi if gain is None else gain,
            cable_loss_db=self.radio.cable_loss_db if loss is None else loss,
        )

    @field_validator("allow")
    @classmethod
    def _each_once(cls, allow: tuple[Technique, ...]) -> tuple[Technique, ...]:
        if len(set(allow)) < len(allow):
            raise ValueError("each technique once")
        return allow


@dataclass(frozen=True, config=STRICT)
class Site:
    """The whole of site.json: a site's name and the policy of each of its read points."""

    read_points: dict[Name, Policy]
    site: Name | Literal[""] = ""


SITE: TypeAdapter[Site] = TypeAdapter(Site)
POLICY: TypeAdapter[Policy] = TypeAdapter(Policy)
