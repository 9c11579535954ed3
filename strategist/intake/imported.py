"""What an import comes to: a case, what was assumed on the way, and what is suspicious in it."""

from __future__ import annotations

from dataclasses import dataclass

from strategist.intake.mapping import ImportMapping
from strategist.survey.answer import Declared, Hidden
from strategist.survey.findings import Severity


@dataclass(frozen=True)
class Recognised(Declared):
    """A column of a file: what it was taken for (None: not used), how it is written (`form`), and
    by what it was recognised."""

    file: str
    column: str
    role: str | None
    form: str | None
    by: str | None
    sample: tuple[str, ...]


@dataclass(frozen=True)
class Suspicion(Declared):
    """Something in the files that may be wrong; `weak` means that an answer may not hold."""

    read_point: str | None
    kind: str
    text: str
    advice: str
    severity: Severity


@dataclass(frozen=True)
class Tally(Declared):
    """What became of the rows of the log: each is a read of the case, or is counted here."""

    rows: int
    reads: int
    outside_passes: int
    without_epc: int
    without_rssi: int
    without_level: int
    reads_of_unlisted_tags: int
    unlisted_tags: int
    listed_tags_never_read: int


@dataclass(frozen=True)
class ImportedPoint(Declared):
    """A read point of the case in counts."""

    read_point: str
    passes: int
    levels_dbm: tuple[float, ...]
    tags: int
    reads: int


@dataclass(frozen=True, eq=False)
class Imported(Declared):
    """A case made from raw files. `files` holds its files' texts by name, with mapping.json, which
    says how the raw files were read; `warnings` are those of reading the case."""

    read_points: tuple[ImportedPoint, ...]
    passes_by: str
    tally: Tally
    columns: tuple[Recognised, ...]
    assumed: tuple[str, ...]
    findings: tuple[Suspicion, ...]
    warnings: tuple[str, ...]
    mapping: ImportMapping
    files: Hidden[dict[str, str]]
