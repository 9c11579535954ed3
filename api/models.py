"""What clients send, as models that both validate it and describe it in OpenAPI."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    create_model,
    model_validator,
)

from strategist import Kept, Loss, Parameter, Policy, Question, Strategy

from .limits import (
    BATCH_TIME_S,
    CHANGES,
    ENTRIES,
    INTERACTIVE_TIME_S,
    PAGE,
    POWER_ENTRIES,
    READ_POINTS_OF_BATCH,
    TEMPLATES,
)
from .store.ids import ID_EXAMPLE, ID_PATTERN


def _whole(value: Any) -> Any:
    """JSON Schema calls 3.0 an integer; so do we."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("text of printable characters")
    return text


AsWhole = BeforeValidator(_whole)
Label = Annotated[
    str,
    Field(max_length=200, description="A label of your choice, to find it by later."),
    AfterValidator(_printable),
]
PointName = Annotated[str, Field(min_length=1, max_length=200)]


def _such_as(prefix: str) -> Any:
    """An id, with an example of its kind."""
    return Field(pattern=ID_PATTERN, examples=[f"{prefix}{ID_EXAMPLE[2:]}"])


Id = Annotated[str, _such_as("su")]
BatchId = Annotated[str, _such_as("ba")]


class Model(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class _Solver(Model):
    seed: Annotated[
        int, Field(ge=0, le=2**31 - 1, description="Random seed of the solver."), AsWhole
    ] = 0
    method: Literal["auto", "search", "model"] = "auto"


class _Options(_Solver):
    unseen: Annotated[bool, Field(description="Ask how masks hold for tags left out.")] = True
    sturdier: Annotated[
        bool, Field(description="Seek a strategy that stands drift better at little cost.")
    ] = True


class InteractiveTime(Model):
    """How long the client waits, in seconds."""

    time_limit_s: Annotated[float, Field(gt=0, le=INTERACTIVE_TIME_S)] = 10.0


class InteractiveOptions(_Options, InteractiveTime):
    """How to solve while the client waits; the limit is for the whole answer, in seconds."""


class RepeatedOptions(_Solver, InteractiveTime):
    """How to solve several times while the client waits; the solves share the limit evenly."""


class ComparisonOptions(InteractiveOptions):
    """How to solve for the entries with weights, which share the time limit evenly."""

    unseen: bool = False
    sturdier: bool = False


class BatchOptions(_Options):
    """How to solve each read point of a batch; the limit is for the whole answer, in seconds."""

    sturdier: bool = False

    time_limit_s: Annotated[float, Field(gt=0, le=BATCH_TIME_S)] = 60.0


class AtPoint(Model):
    """What names a read point of a survey."""

    survey: Id
    read_point: PointName
    label: Label = ""


def _plain(value: Any) -> Any:
    """What JSON can hold: no number that is infinite."""
    json.dumps(value, allow_nan=False)
    return value


class GivenStrategy(Model):
    """A strategy, here or by the id of a stored one."""

    strategy: Strategy | None = None
    strategy_id: Annotated[Id | None, Field(description="Of an answer that is stored.")] = None


class _WithStrategy(AtPoint, GivenStrategy):
    @model_validator(mode="after")
    def _one(self) -> _WithStrategy:
        if (self.strategy is None) == (self.strategy_id is None):
            raise ValueError(
                "strategy and strategy_id are both given, or neither. Give one of the two."
            )
        return self


Share = Annotated[float, Field(ge=1e-6, le=0.999)]
Confidence = Annotated[float, Field(ge=0.5, le=0.999999)]


_OPTIONS = {"all": InteractiveOptions, "several": RepeatedOptions}


def request_of(question: Question, kept: Kept) -> type[BaseModel]:
    """What is sent to ask a question: where, a strategy, its parameters, how to solve."""
    keys: dict[str, Any] = {one.key: (_kind(one), one.default) for one in question.parameters}
    if question.solves is not None:
        options = _OPTIONS[question.solves]
        keys["options"] = (options, options())
    made: type[BaseModel] = create_model(
        f"{kept.kind.title().replace('_', '')}Request",
        __base__=_WithStrategy if question.takes_strategy else AtPoint,
        __doc__=f"{question.what[0].upper()}{question.what[1:]}.",
        **keys,
    )
    return made


def _kind(parameter: Parameter) -> Any:
    says = parameter.says
    if parameter.names_case:
        return Annotated[Id | None, Field(description=says)]
    if parameter.choices:
        return Annotated[Literal[parameter.choices] | None, Field(description=says)]
    if parameter.is_map:
        key = Annotated[str, Field(min_length=1, max_length=100)]
        few = Field(max_length=CHANGES, description=says)
        return Annotated[dict[key, Any], few, AfterValidator(_plain)]
    low, high = parameter.between or (None, None)
    of = Annotated[float, Field(ge=low, le=high)]
    return Annotated[of | None if parameter.default is None else of, Field(description=says)]


class PlanQuery(Model):
    """The rate to show, with what confidence, and the failed passes that are allowed."""

    miss_rate_max: Annotated[
        Share, Field(description="Share of passes with a miss that is acceptable.")
    ]
    confidence: Confidence = 0.95
    allowed_failures: Annotated[int, Field(ge=0, le=1000)] = 0


class FirstPlanRequest(Model):
    """The keys of a read point as in `site.json`, and what measuring takes."""

    read_point: PointName
    policy: Policy
    miss_rate_max: Annotated[
        Share | None,
        Field(description="Share of passes with a miss to show; null: the limit of the policy."),
    ] = None
    minutes_a_pass: Annotated[float, Field(ge=0, le=1440)] = 3.0
    seconds_a_level: Annotated[float, Field(ge=0, le=3600)] = 5.0


class PowerLimitQuery(Model):
    """Region, antenna and cable, as in `site.json`; a level (null: the highest lawful one)."""

    region: Annotated[str, Field(min_length=1, max_length=40, description="Band and rule.")]
    antenna_gain_dbi: Annotated[float, Field(ge=-30, le=30)]
    polarisation: Literal["circular", "linear"] | None = None
    cable_loss_db: Annotated[float, Field(ge=0, le=30)] = 0.0
    hop_channels: Annotated[int | None, Field(ge=1, le=1000)] = None
    exposure: Literal["icnirp", "fcc"] | None = None
    level_dbm: Annotated[float | None, Field(ge=-20, le=40)] = None


class PowerEntry(Model):
    """An entry of the reader's own table of transmit powers."""

    index: Annotated[int, Field(ge=0, le=65535), AsWhole]
    power_dbm: Annotated[float, Field(ge=-100, le=100)]


class SettingsRequest(_WithStrategy):
    """A strategy in the terms of an open standard; LLRP needs the reader's power table."""

    format: Literal["gen2", "llrp"]
    power_table: (
        Annotated[list[PowerEntry], Field(min_length=1, max_length=POWER_ENTRIES)] | None
    ) = None


class Entry(GivenStrategy):
    """One side of a comparison: a strategy, or the best one under other weights."""

    name: Annotated[Label, Field(min_length=1)]
    loss: Loss | None = None

    @model_validator(mode="after")
    def _one(self) -> Entry:
        given = (self.strategy, self.strategy_id, self.loss)
        if sum(value is not None for value in given) != 1:
            raise ValueError(
                "One of strategy, strategy_id and loss says what an entry is. Give just one."
            )
        return self


class ComparisonRequest(AtPoint):
    """Strategies, given or best under some weights, on one read point: alone or side by side."""

    entries: Annotated[list[Entry], Field(min_length=1, max_length=ENTRIES)]
    options: ComparisonOptions = ComparisonOptions()


class BatchItem(Model):
    """Read points of a survey; null means all of them."""

    survey: Id
    read_points: (
        Annotated[list[PointName], Field(min_length=1, max_length=READ_POINTS_OF_BATCH)] | None
    ) = None


class BatchRequest(Model):
    """Many read points, solved one by one by the workers."""

    items: Annotated[list[BatchItem], Field(min_length=1, max_length=READ_POINTS_OF_BATCH)]
    label: Label = ""
    options: BatchOptions = BatchOptions()


class OfBatch(Model):
    """What names a batch that is done."""

    batch: BatchId
    label: Label = ""
    options: InteractiveTime = InteractiveTime()


class TemplatesRequest(OfBatch):
    """Few strategies for all read points of a batch."""

    at_most: Annotated[
        int, Field(ge=1, le=TEMPLATES, description="Most different strategies."), AsWhole
    ] = 4
    max_extra_loss: Annotated[
        float | None,
        Field(
            ge=0,
            description="Extra loss that a read point may accept before it gets its own strategy; "
            "null: the weight of one missed tag.",
        ),
    ] = None


class SitePlanRequest(Model):
    """The plan of a whole site: the readers and prices are those of its site.json."""

    survey: Id
    label: Label = ""
    at_most: (
        Annotated[int, Field(ge=1, le=TEMPLATES, description="Most different settings."), AsWhole]
        | None
    ) = None
    budget: Annotated[
        float | None,
        Field(ge=0, le=1e12, description="For visits, settings and options; null: any."),
    ] = None
    option_surveys: Annotated[
        dict[Annotated[str, Field(min_length=1, max_length=200)], Id],
        Field(
            max_length=TEMPLATES,
            description="The survey of each option, by the folder that site.json names as its "
            "case; options without one are left out.",
        ),
    ] = {}
    options: InteractiveTime = InteractiveTime()


class CrossReadsRequest(OfBatch):
    """Which read points of a batch hear each other's wanted tags, and what suppresses them."""


class MasksQuery(Model):
    """Which read point; needed where the survey has several."""

    read_point: PointName | None = None


class PageQuery(Model):
    """A page of a list."""

    limit: Annotated[int, Field(ge=1, le=PAGE)] = 20
    cursor: Annotated[str | None, Field(max_length=200, description="next of the last page")] = None


class PositionQuery(Model):
    """A page of the read points of a batch, in the order that they were given."""

    limit: Annotated[int, Field(ge=1, le=PAGE)] = 20
    cursor: Annotated[int, Field(ge=-1, le=10**6, description="next of the last page")] = -1


class RemovalQuery(Model):
    """What becomes of the results of a batch."""

    results: Annotated[
        Literal["keep", "delete"],
        Field(description="keep: cancel what is not solved; delete: delete the batch, too."),
    ] = "keep"


class UploadQuery(Model):
    """What goes with an upload."""

    label: Label = ""
