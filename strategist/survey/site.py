"""The whole of site.json: the policy of each read point, the readers that several share, prices."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import field
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter, field_validator, model_validator
from pydantic.dataclasses import dataclass

from strategist.survey.keys import key
from strategist.survey.policy import STRICT, Listed, Name, Policy, Price

SharedPart = Literal["masks", "cutoff", "ladder"]
SHARED_PARTS: tuple[SharedPart, ...] = ("masks", "cutoff", "ladder")


@dataclass(frozen=True, config=STRICT)
class SharedReader:
    """Read points that one reader serves, and what it has only once for all of them.

    `cycle_s` is how long it may take to walk the ladders of all of them once (None: no limit).
    """

    read_points: Annotated[
        tuple[Name, ...],
        key("readers.N.read_points", min_length=1),
        Listed,
    ]
    shares: Annotated[tuple[SharedPart, ...], key("readers.N.shares"), Listed] = (
        "masks",
        "cutoff",
    )
    cycle_s: Annotated[float | None, key("readers.N.cycle_s", gt=0, le=86400)] = None

    @field_validator("read_points", "shares")
    @classmethod
    def _each_once(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(names)) < len(names):
            raise ValueError("One is named twice. Name each once.")
        return names


@dataclass(frozen=True, config=STRICT)
class Cost:
    """What it costs, in one currency: to set the read points of a reader, each different setting,
    an option that names no price of its own."""

    visit: Annotated[Price, key("cost.visit")] = 0.0
    setting: Annotated[Price, key("cost.setting")] = 0.0
    option: Annotated[Price, key("cost.option")] = 0.0


NO_COST = Cost()

Keep = Literal["stronger", "facing"]


@dataclass(frozen=True, config=STRICT)
class Arbitration:
    """Two read points of whose reports of one tag in one pass the host may discard one.

    `stronger`: that of the weaker read; `facing`: that of the read point which is not `facing`, the
    one whose antenna faces the tags. By how many dB the other read must be stronger is chosen. A
    pass of the one is that of the other where both have its pass_id.
    """

    read_points: Annotated[
        tuple[Name, ...],
        key("arbitration.N.read_points", min_length=2, max_length=2),
        Listed,
    ]
    keep: Annotated[Keep, key("arbitration.N.keep")] = "stronger"
    facing: Annotated[Name | None, key("arbitration.N.facing")] = None
    price: Annotated[Price, key("arbitration.N.price")] = 0.0

    @model_validator(mode="after")
    def _one_faces(self) -> Arbitration:
        if len(set(self.read_points)) < len(self.read_points):
            raise ValueError("One is named twice. Name each once.")
        if (self.keep == "facing") != (self.facing is not None):
            raise ValueError('facing goes with "keep": "facing". Give both, or neither.')
        if self.facing is not None and self.facing not in self.read_points:
            raise ValueError(
                f'"{self.facing}" is none of its read_points. Name the one that faces the tags.'
            )
        return self


@dataclass(frozen=True, config=STRICT)
class Site:
    """The whole of site.json. A key that begins with // is a note: it is not read.

    That the read points of `readers` exist is judged where the tables are known.
    """

    read_points: Annotated[dict[Name, Policy], key("read_points")]
    site: Annotated[Name | Literal[""], key("site")] = ""
    readers: Annotated[dict[Name, SharedReader], key("readers"), Field(default_factory=dict)] = (
        field(default_factory=dict)
    )
    cost: Annotated[Cost, key("cost")] = NO_COST
    arbitration: Annotated[
        dict[Name, Arbitration], key("arbitration"), Field(default_factory=dict)
    ] = field(default_factory=dict)

    @model_validator(mode="after")
    def _one_reader_each(self) -> Site:
        twice = _named_twice(self.readers.values())
        if twice is not None:
            raise ValueError(
                f'"{twice}" is on more than one of the readers. Name each read point once.'
            )
        twice = _named_twice(self.arbitration.values())
        if twice is not None:
            raise ValueError(
                f'"{twice}" is in more than one arbitration. Name each read point once.'
            )
        return self


def _named_twice(some: Iterable[SharedReader | Arbitration]) -> str | None:
    """The first read point that several of them name."""
    named = [name for one in some for name in one.read_points]
    return min((name for name in named if named.count(name) > 1), default=None)


SITE: TypeAdapter[Site] = TypeAdapter(Site)
