"""The whole of site.json: the policy of each read point, the readers that several share, prices."""

from __future__ import annotations

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

    @model_validator(mode="after")
    def _one_reader_each(self) -> Site:
        served = [name for reader in self.readers.values() for name in reader.read_points]
        twice = sorted({name for name in served if served.count(name) > 1})
        if twice:
            raise ValueError(
                f'"{twice[0]}" is on more than one of the readers. Name each read point once.'
            )
        return self


SITE: TypeAdapter[Site] = TypeAdapter(Site)
