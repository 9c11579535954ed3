"""The mapping file: what `import` decided about files, so that the next import need not."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter
from pydantic.dataclasses import dataclass

from strategist.intake.terms import Role
from strategist.survey.answer import to_json
from strategist.survey.json_text import parse_json
from strategist.survey.policy import STRICT, Dbm, Listed, Name

MAPPING_FILE = "mapping file"  # in faults: whoever has a file's own name puts it there
PassesBy = Literal["column", "windows", "pauses"]
Form = Literal[
    "dbm", "mw", "tenths_dbm", "hundredths_dbm", "minus_dbm", "hex", "pc_epc", "pc_epc_crc", "iso",
    "d.m.y", "m/d/y", "time_of_day", "epoch_s", "epoch_ms", "epoch_us", "uptime_us", "seconds",
]  # fmt: skip


@dataclass(frozen=True, config=STRICT)
class TableMapping:
    """What the columns of a file are, by role; null: the file has none. `forms` says how values
    are written, `sheet` which sheet of a workbook."""

    columns: dict[Role, Name | None] = Field(default_factory=dict)
    forms: dict[Role, Form] = Field(default_factory=dict)
    sheet: Name | None = None


@dataclass(frozen=True, config=STRICT)
class ImportMapping:
    """What a user says, or said, about raw files. What is not said is recognised.

    `passes_by`: how reads find their pass: by a column of the log, by the times on the run sheet,
    or by the pauses between reads, of at least `pause_s` seconds. `clock_offset_s` is added to the
    log's times. `levels_by_rospec` has the level (dBm) of each ROSpec. `epc_filter` is the filter
    value of EPCs that are given as pure identities, which lack it. `levels_dbm` are the levels
    surveyed, `antennas` those connected.
    """

    log: TableMapping = TableMapping()
    run_sheet: TableMapping = TableMapping()
    tags: TableMapping = TableMapping()
    read_point: Name | None = None
    passes_by: PassesBy | None = None
    pause_s: Annotated[float, Field(gt=0, le=1e6)] | None = None
    clock_offset_s: Annotated[float, Field(ge=-1e9, le=1e9)] = 0.0
    levels_by_rospec: dict[str, Dbm] = Field(default_factory=dict)
    epc_filter: Annotated[int, Field(ge=0, le=7)] | None = None
    levels_dbm: Annotated[tuple[Dbm, ...], Listed] | None = None
    antennas: Annotated[tuple[Annotated[int, Field(ge=0)], ...], Listed] | None = None


MAPPING: TypeAdapter[ImportMapping] = TypeAdapter(ImportMapping)


def parse_mapping(data: bytes, source: str) -> ImportMapping:
    """The mapping in a JSON text; raises InputError with every fault and its place."""
    return parse_json(data.removeprefix(b"\xef\xbb\xbf"), MAPPING, source)


def mapping_text(mapping: ImportMapping) -> str:
    """The mapping as `parse_mapping` takes it."""
    plain: Any = to_json(mapping)
    return json.dumps(plain, indent=1, ensure_ascii=False) + "\n"
