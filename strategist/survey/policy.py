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
    field_validator,
    model_validator,
)
from pydantic.dataclasses import dataclass

from strategist.survey.keys import Assumed, EachSchema, key

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
    if not all(str(name).isdecimal() and 1 <= int(name) <= ANTENNA_MAX for name in value):
        raise ValueError(
            f"The keys are not antennas. Give numbers from 1 to {ANTENNA_MAX}, such as "
            '{"3": {}}.'
        )
    return tuple(sorted(((int(name), one) for name, one in value.items()), key=lambda x: x[0]))


def by_name(value: Any) -> Any:
    """{"screen": x} as (("screen", x),), in order; what is no mapping is left to be refused."""
    return tuple(value.items()) if isinstance(value, Mapping) else value


def as_mapping(pairs: tuple[tuple[int | str, Any], ...]) -> dict[str, Any]:
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
        raise ValueError("A level is named twice. Name each once.")
    return tuple(sorted(rounded))


AsWhole = BeforeValidator(_whole)
Listed = BeforeValidator(_as_tuple)
Whole = Annotated[int, AsWhole]
Antenna = Annotated[int, Field(ge=1, le=ANTENNA_MAX), AsWhole]
_LONG = {"minLength": 1, "maxLength": NAME_CHARACTERS_MAX}
Name = Annotated[str, Field(json_schema_extra=_LONG), AfterValidator(_printable)]
Dbm = Annotated[float, Field(ge=LEVEL_DBM_MIN, le=LEVEL_DBM_MAX)]
Technique = Literal["power", "ladder", "cutoff", "masks", "antennas"]
TECHNIQUES: tuple[Technique, ...] = ("power", "ladder", "cutoff", "masks", "antennas")
RegionName = Literal["fcc-902-928", "etsi-865-868", "etsi-915-921"]  # of radio/regions.py
RfModeName = Literal["fm0-640", "fm0-320", "miller2-320", "miller4-256", "miller8-160"]
REGION_NAMES: tuple[RegionName, ...] = get_args(RegionName)
Price = Annotated[float, Field(ge=0, le=1e9)]  # in the planner's currency
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

    missed: Annotated[float, key("loss.missed", ge=1e-3, le=1e6)] = 5.0
    stray: Annotated[float, key("loss.stray", ge=1e-3, le=1e6)] = 1.0

    def little(self, loss: float) -> float:
        """What is little beside a loss: one missed tag, or 5 % of it where that is more."""
        return round(max(self.missed, 0.05 * loss), DECIMALS)


@dataclass(frozen=True, config=STRICT, repr=False)
class Reader(_Brief):
    """What the reader can do: steps of a ladder, masks in a chain, mask alignment and size (bits).

    A mask starts and ends on a multiple of `mask_step_bits` of its bank's data. Cutoffs that can be
    set are the multiples of `rssi_step_db` (None: any cutoff), levels those of `power_levels_dbm`
    (None: any level): a strategy that cannot be set is not proposed. `antenna_power`: antennas that
    are on radiate the level ("shared"), or each has a power and a cutoff of its own ("own").
    """

    ladder_steps_max: Annotated[int, key("reader.ladder_steps_max", ge=1, le=32), AsWhole] = (
        Assumed(5)
    )
    mask_slots: Annotated[int, key("reader.mask_slots", ge=0, le=32), AsWhole] = Assumed(3)
    mask_step_bits: Annotated[int, key("reader.mask_step_bits", ge=1, le=64), AsWhole] = Assumed(8)
    mask_bits_max: Annotated[int, key("reader.mask_bits_max", ge=1, le=255), AsWhole] = (
        96  # Select's Length field has 8 bits
    )
    antenna_power: Annotated[Literal["shared", "own"], key("reader.antenna_power")] = "shared"
    rssi_step_db: Annotated[float | None, key("reader.rssi_step_db", ge=0.01, le=20)] = 0.5
    power_levels_dbm: Annotated[
        tuple[Dbm, ...] | None, key("reader.power_levels_dbm", min_length=1), Listed
    ] = None

    @field_validator("power_levels_dbm")
    @classmethod
    def _ascending(cls, levels: tuple[float, ...] | None) -> tuple[float, ...] | None:
        return ascending(levels)

    def assumed(self) -> tuple[str, ...]:
        """The names of the keys that the planner has not set and whose defaults are assumptions."""
        return tuple(f.name for f in fields(self) if isinstance(getattr(self, f.name), Assumed))

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

    power_db: Annotated[float, key("guard.power_db", ge=0, le=GUARD_POWER_DB_MAX)] = 1.0
    rssi_db: Annotated[float, key("guard.rssi_db", ge=0, le=GUARD_RSSI_DB_MAX)] = 2.0


@dataclass(frozen=True, config=STRICT, repr=False)
class Limits(_Brief):
    """Hard limits; None means no limit. Missed per wanted tag presented; strays per pass."""

    missed_rate_max: Annotated[float | None, key("limits.missed_rate_max", ge=0, le=1)] = None
    stray_rate_max: Annotated[float | None, key("limits.stray_rate_max", ge=0)] = None

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

    dbm: Annotated[float, key("radio.limit.dbm", ge=-20, le=60)]
    kind: Annotated[Literal["erp", "eirp"], key("radio.limit.kind")]
    low_mhz: Annotated[Megahertz, key("radio.limit.low_mhz")]
    high_mhz: Annotated[Megahertz, key("radio.limit.high_mhz")]
    rule: Annotated[Name, key("radio.limit.rule")] = "limit given in site.json"

    @model_validator(mode="after")
    def _band(self) -> RadiatedLimit:
        if self.high_mhz < self.low_mhz:
            raise ValueError("high_mhz is below low_mhz. Give the lower edge of the band first.")
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

    region: Annotated[RegionName | None, key("radio.region")] = None
    limit: Annotated[RadiatedLimit | None, key("radio.limit")] = None
    hop_channels: Annotated[int | None, key("radio.hop_channels", ge=1, le=1000), AsWhole] = None
    antenna_gain_dbi: Annotated[float | None, key("radio.antenna_gain_dbi", ge=-30, le=30)] = None
    polarisation: Annotated[Literal["circular", "linear"] | None, key("radio.polarisation")] = None
    count_linear_component: Annotated[bool, key("radio.count_linear_component")] = False
    cable_loss_db: Annotated[float, key("radio.cable_loss_db", ge=0, le=30)] = 0.0
    exposure: Annotated[Literal["icnirp", "fcc"] | None, key("radio.exposure")] = None
    ground_factor: Annotated[float | None, key("radio.ground_factor", ge=1, le=4)] = None
    distance_m: Annotated[float | None, key("radio.distance_m", ge=0.05, le=100)] = None

    @model_validator(mode="after")
    def _one_rule(self) -> Radio:
        if self.region is not None and self.limit is not None:
            raise ValueError("region and limit exclude each other. Give one of the two.")
        return self


StepSeconds = Annotated[float, Field(gt=0, le=3600)]


@dataclass(frozen=True, config=STRICT, repr=False)
class AntennaRadio(_Brief):
    """What differs from `Radio` at one antenna; None: nothing."""

    antenna_gain_dbi: Annotated[float | None, key("antennas.N.antenna_gain_dbi", ge=-30, le=30)] = (
        None
    )
    cable_loss_db: Annotated[float | None, key("antennas.N.cable_loss_db", ge=0, le=30)] = None


@dataclass(frozen=True, config=STRICT, repr=False)
class Dwell(_Brief):
    """How long a pass lasts (`dwell_s`, None: no limit), and how long one ladder step takes.

    `step_s` is the whole step as measured with the reader, or several of which one is chosen; where
    reads carry a time, later ones do not count. Or `rf_mode` names how reader and tags talk, from
    which a step is estimated: `tags_in_field` tags that answer (None: the most that any surveyed
    pass presents), `overhead_s` of the reader's own time, and `failed_read_rate`, the share of
    reads that fail though the tag answers alone (None: the come-and-go of the survey, which is less
    where it listened long at a level). `in_turn`: the antennas that are on take turns, each of
    which lasts as long as said of a step; a step then takes that for each of them.
    """

    dwell_s: Annotated[float | None, key("time.dwell_s", gt=0, le=86400)] = None
    step_s: Annotated[
        StepSeconds | Annotated[tuple[StepSeconds, ...], Field(min_length=1), Listed] | None,
        key("time.step_s"),
    ] = None
    rf_mode: Annotated[RfModeName | None, key("time.rf_mode")] = None
    tags_in_field: Annotated[int | None, key("time.tags_in_field", ge=0, le=2000), AsWhole] = None
    overhead_s: Annotated[float, key("time.overhead_s", ge=0, le=60)] = 0.0
    failed_read_rate: Annotated[
        float | None, key("time.failed_read_rate", ge=0, le=FAILED_READS_MAX)
    ] = None
    in_turn: Annotated[bool, key("time.in_turn")] = False

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
        if self.step_s is not None and self.rf_mode is not None:
            raise ValueError(
                "step_s and rf_mode exclude each other. Give step_s where it was measured, else "
                "rf_mode to have it estimated."
            )
        of_mode = (self.tags_in_field, self.overhead_s or None, self.failed_read_rate)
        if self.rf_mode is None and of_mode != (None, None, None):
            raise ValueError(
                "tags_in_field, overhead_s and failed_read_rate serve the estimate by rf_mode, "
                "which is missing. Give rf_mode as well, or leave them out."
            )
        if self.dwell_s is not None and self.step_s is None and self.rf_mode is None:
            raise ValueError(
                "dwell_s is given, but not how long a step takes. Give step_s (measured) or "
                "rf_mode (estimated) as well."
            )
        return self


@dataclass(frozen=True, config=STRICT, repr=False)
class InConditions(_Brief):
    """How the loss a pass in each condition of passes.csv counts: their mean by weight, the worst
    alone, or the mean of the worst `tail` of all passes ("cvar")."""

    aim: Annotated[Literal["mean", "worst", "cvar"], key("conditions.aim")] = "mean"
    tail: Annotated[float, key("conditions.tail", gt=0, le=1)] = 0.2


@dataclass(frozen=True, config=STRICT, repr=False)
class Option(_Brief):
    """A read point as it would be with something bought: the folder of a case (seen from that of
    site.json) with a survey of its own, the name it has there (None: the same), and a price (None:
    that of `cost`)."""

    case: Annotated[Name, key("options.N.case")]
    read_point: Annotated[Name | None, key("options.N.read_point")] = None
    price: Annotated[Price | None, key("options.N.price")] = None


@dataclass(frozen=True, config=STRICT, repr=False)
class Policy(_Brief):
    """Everything about a read point that is decided and not measured; defaults are the norm.

    `levels_dbm` None means: the levels found in the reads. `untried` says what to do with (pass,
    level) pairs that were not surveyed: refuse to solve, leave out their levels or their passes.
    `aim` is what is least: the loss expected in passes to come, drawn by what the survey says may
    vary, or the loss over the passes surveyed. `conditions` is how the conditions of passes.csv are
    weighed.
    `antennas` are those that exist, with what differs from `radio` (none: those that reads name).
    `serial_masks` lets masks test serial parts, which hold for the surveyed tags alone.
    `predict_levels` fills in pairs that were not surveyed by a model of each tag's link, before
    `untried` looks at what is left: where the level lies between two levels surveyed in that pass
    that are at most `PREDICT_BETWEEN_DB` apart, or at most `PREDICT_BEYOND_DB` beyond the last.
    Without tried.csv, levels of `levels_dbm` that no read names then count as not surveyed.
    `options` are what could be bought for it, by name.
    """

    levels_dbm: Annotated[tuple[Dbm, ...] | None, key("levels_dbm", min_length=1), Listed] = None
    unlisted: Annotated[Literal["stray", "ignore", "error"], key("unlisted")] = "stray"
    loss: Annotated[Loss, key("loss")] = Loss()
    stop_after: Annotated[int, key("stop_after", ge=1, le=STOP_AFTER_MAX), AsWhole] = 1
    allow: Annotated[tuple[Technique, ...], key("allow"), Listed] = TECHNIQUES
    reader: Annotated[Reader, key("reader")] = Reader()
    guard: Annotated[Guard, key("guard")] = Guard()
    limits: Annotated[Limits, key("limits")] = Limits()
    radio: Annotated[Radio, key("radio")] = Radio()
    time: Annotated[Dwell, key("time")] = Dwell()
    aim: Annotated[Literal["expected", "survey"], key("aim")] = "expected"
    conditions: Annotated[InConditions, key("conditions")] = InConditions()
    antennas: Annotated[
        tuple[tuple[Antenna, AntennaRadio], ...],
        BeforeValidator(by_antenna),
        PlainSerializer(as_mapping),
        EachSchema(AntennaRadio),
        key("antennas", default={}),
    ] = ()
    serial_masks: Annotated[bool, key("serial_masks")] = False
    untried: Annotated[Literal["refuse", "leave_out_level", "leave_out_pass"], key("untried")] = (
        "refuse"
    )
    predict_levels: Annotated[bool, key("predict_levels")] = False
    options: Annotated[
        tuple[tuple[Name, Option], ...],
        BeforeValidator(by_name),
        PlainSerializer(as_mapping),
        EachSchema(Option),
        key("options", default={}),
    ] = ()

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
            raise ValueError("A technique is named twice. Name each once.")
        return allow


POLICY: TypeAdapter[Policy] = TypeAdapter(Policy)
