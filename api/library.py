"""What the library gives (the JSON of the commands' `--out`), as models that describe it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from strategist import Strategy

__all__ = [
    "SILENCE",
    "STURDIER",
    "AcceptanceJson",
    "AcceptancePlanJson",
    "Checked",
    "CouplingJson",
    "EvaluationJson",
    "Given",
    "JudgedJson",
    "MaskListJson",
    "OutcomeJson",
    "PowerLimitJson",
    "ResultJson",
    "SettingsJson",
    "SturdierJson",
    "TemplatesJson",
]


SILENCE: Any = Field(description="The loss where the read point reports nothing")
STURDIER: Any = Field(
    description="Beside the best; null: there is none, none was found in time, or not asked for"
)
PREDICTED: Any = Field(
    description="Levels that were predicted, the steps among them, and their 95 % errors in dB"
)


class Given(BaseModel):
    model_config = ConfigDict(extra="allow")


class Finding(Given):
    read_point: str
    kind: str
    text: str
    advice: str
    severity: Literal["weak", "note"]


class Checked(Given):
    """What `check` finds at a read point."""

    read_point: str
    passes: int
    levels_dbm: list[float]
    wanted_presented: int
    stray_presented: int
    reads: int
    usable: bool
    refusal: str | None
    findings: list[Finding]
    warnings: list[str]


class OutcomeJson(Given):
    passes: int
    wanted: int
    missed: int
    stray_presented: int
    stray: int
    missed_rate: float | None
    stray_rate: float
    predicted: dict[str, int] | None = Field(
        description="How much of each count rests on predicted reads; null: the survey has none"
    )


class LawfulJson(Given):
    """What is lawful with the antenna and cable of the policy; null where nothing is claimed."""

    highest_dbm: float | None
    region: str | None
    clause: str | None
    edition: str | None
    levels_above_dbm: list[float] = Field(description="Surveyed levels above the lawful one")
    reason: str
    caution: str


class ExposureJson(Given):
    """How far people keep from the antenna at the top level; null where it cannot be named."""

    distance_m: float | None
    reference_v_m: float | None = Field(None, description="The reference level as a field")
    caution: str


class TimeJson(Given):
    """Seconds that the ladder takes in a pass; `worst_s`: each step as `step_worst_s`."""

    expected_s: float
    worst_s: float
    step_worst_s: float
    dwell_s: float | None
    fits: bool | None
    quantile: float | None = Field(description="Share of steps within `step_worst_s`")
    tags_in_field: int | None
    failed_read_rate: float | None = Field(description="Null where step_s was measured")
    steps_max: list[int] | None = Field(description="Most steps searched with 0, 1, … masks")
    assumptions: list[str]


class OnAir(Given):
    lawful: LawfulJson
    exposure: ExposureJson
    time: TimeJson | None


class SturdierJson(Given):
    """The least guarded loss among strategies that lose little more than the best in the survey."""

    strategy: Strategy
    mask_words: list[str]
    loss: float
    extra_loss: float = Field(description="What it gives up in the survey")
    guarded_loss: float
    guarded_saved: float = Field(description="What it gains if every tag drifts the wrong way")
    bound: float = Field(description="No strategy of this kind has a lower guarded loss")
    proven: bool
    allowance: float = Field(description="The extra loss allowed: one missed tag, or 5 % of it")
    outcome: OutcomeJson
    gives_up: str
    gains: str


class ResultJson(OnAir):
    """The result of `solve` (docs of the project, section 6)."""

    read_point: str
    status: Literal["optimal", "feasible", "infeasible", "undecided", "silent"] = Field(
        description="silent: no strategy searched is better than to report nothing; do not install"
    )
    loss: float
    bound: float
    gap: float
    silence_loss: float = SILENCE
    strategy: Strategy
    outcome: OutcomeJson
    mask_words: list[str]
    unseen: dict[str, Any] | None
    sturdier: SturdierJson | None = STURDIER
    searched: dict[str, int]
    guarded_loss: float = Field(description="If every tag drifts the whole guard the wrong way")
    worst_case_loss: float | None = Field(
        None, description="The most that drift can cost if each tag drifts its own way within it"
    )
    rates: dict[str, Any] = Field(description="Each with a 95 % interval of the true rate")
    predicted: dict[str, Any] | None = PREDICTED
    proof: dict[str, Any]
    warnings: list[str]
    seconds: float


class JudgedJson(ResultJson):
    """The result of `judge`: that of `solve`, and what tests it."""

    cross_validation: dict[str, Any] | None = Field(description="null: too few passes")
    tag_types: dict[str, Any]
    next_survey: dict[str, Any]
    judged_seconds: float


class MaskListJson(Given):
    """The result of `masks`: what the tags carry, and the masks that may be chosen."""

    read_point: str
    tags: int
    wanted: int
    stray: int
    fields: list[dict[str, Any]]
    candidates: list[dict[str, Any]]
    listed: int
    kept: int
    left_out: list[dict[str, Any]]
    warnings: list[str]


class AcceptancePlanJson(Given):
    """The result of `plan-acceptance`."""

    rate_limit: float
    confidence: float
    passes: int
    failures_allowed: int
    operating_characteristic: list[dict[str, float]]
    sentence: str


class AcceptanceJson(Given):
    """The result of `accept`."""

    read_point: str
    verdict: Literal["pass", "fail", "not enough"]
    sentence: str
    rate_limit: float
    confidence: float
    failures: int
    passes: int
    lower: float
    upper: float
    strategy: Strategy
    outcome: OutcomeJson
    rates: dict[str, Any]
    drift: dict[str, Any] | None = Field(description="null without an older survey")
    warnings: list[str]


class TemplatesJson(Given):
    """The result of `templates`; `case` is the id of a survey."""

    at_most: int
    loss: float
    bound: float = Field(description="No choice of so many templates loses less; 0 where unknown")
    proven: bool
    own_loss: float
    without: int
    templates: list[Strategy]
    read_points: list[dict[str, Any]]
    curve: list[dict[str, Any]]
    searched: dict[str, int]
    left_out: list[str]
    late: list[str] = Field(description="Read points that the time limit left out")
    hurried: list[str] = Field(description="Those held against some of the candidates only")
    warnings: list[str] = Field(description="What must be settled before the templates are set")


class StepJson(Given):
    """A level of settings: lawful or not (null: no lawful level can be named), and how known."""

    power_dbm: float
    lawful: bool | None
    known: Literal["surveyed", "predicted", "not surveyed"]


class ReplayJson(Given):
    """What settings do in the survey as they are written, read back from their bits."""

    strategy: Strategy
    same: bool | None = Field(description="As the strategy itself; null: could not be replayed")
    outcome: OutcomeJson | None
    loss: float | None
    meant_loss: float | None
    sentence: str


class SettingsJson(Given):
    """The result of `export`: the keys of both standards; each has more of its own."""

    format: Literal["gen2", "llrp"]
    levels: list[StepJson]
    lawful: LawfulJson
    replay: ReplayJson
    warnings: list[str] = Field(description="What must be settled before anything is set")


class CouplingJson(Given):
    """That of a batch of `batch`, as in coupling.json; `case` is the id of a survey."""

    pairs: list[dict[str, Any]]


class PowerLimitJson(Given):
    """The result of `lawful`: the highest lawful level, and the distance to keep at a level."""

    level_dbm: float | None = Field(description="null: none was given, and none can be named")
    lawful: LawfulJson
    exposure: ExposureJson
    reach_m: float | None = Field(description="How far a tag of -18 dBm may answer in free space")


class EvaluationJson(OnAir):
    """The result of `evaluate`."""

    read_point: str
    loss: float
    silence_loss: float = SILENCE
    strategy: Strategy
    outcome: OutcomeJson
    predicted: dict[str, Any] | None = PREDICTED
    warnings: list[str]
