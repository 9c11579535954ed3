"""`import_log`: from raw files to a case, or to what is missing for one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from strategist.errors import Fault, InputError
from strategist.intake.case_files import Reads, files_of, levels_by_point
from strategist.intake.clock import Clocks, Offset, lay_beside, offset_of
from strategist.intake.imported import Imported, ImportedPoint, Tally
from strategist.intake.joined import joined
from strategist.intake.mapping import MAPPING_FILE, ImportMapping, PassesBy, mapping_text
from strategist.intake.presented import (
    Presented,
    by_column,
    by_pauses,
    by_windows,
    levels_of,
    snapped,
    way_of,
)
from strategist.intake.read import Table
from strategist.intake.roster import Roster, Spelling, roster_of
from strategist.intake.runs import Runs, runs_of
from strategist.intake.settled import Read, assumed_of, columns_of, settled
from strategist.intake.source import Files, table_of
from strategist.intake.suspicions import Evidence, suspicions
from strategist.intake.terms import KINDS, TERMS, Kind, Role, likeness
from strategist.survey.faults import FaultList
from strategist.survey.order import figure, natural, some
from strategist.survey.reading import read_case_files
from strategist.survey.records import Bools, Floats
from strategist.survey.texts import Texts

_UNNAMED = "read-point"


def import_log(
    logs: Files,
    *,
    run_sheet: Files | None = None,
    tags: Files | None = None,
    mapping: ImportMapping | None = None,
) -> Imported:
    """The case in raw logs (name → content or path), with a run sheet and a tag list.

    Columns, units, times and passes are recognised, or are as the mapping says; `Imported` tells
    what was assumed. Raises InputError with all that is wrong or cannot be known, each with how to
    give it: nothing is guessed where two readings are as likely.
    """
    mapping = ImportMapping() if mapping is None else mapping
    faults = FaultList()
    given: dict[Kind, Files] = {"log": logs, "run_sheet": run_sheet or {}, "tags": tags or {}}
    if not logs:
        raise InputError.one("log", "", "at least one log")
    tables = {
        kind: [
            table
            for name, content in given[kind].items()
            if (table := table_of(name, content, kind, mapping, faults)) is not None
        ]
        for kind in KINDS
    }
    faults.raise_any()
    log = joined(tables["log"], faults)
    for role in ("epc", "rssi"):
        if role not in log.texts and role not in log.numbers:
            faults.add(_unrecognised(log, role))
    faults.raise_any()
    sheet = joined(tables["run_sheet"], faults) if tables["run_sheet"] else None
    listed = joined(tables["tags"], faults) if tables["tags"] else None
    return _Importing(log, sheet, listed, mapping, faults).imported()


@dataclass(eq=False)
class _Importing:
    """The work of one import, from tables to a case."""

    log: Table
    sheet: Table | None
    tags: Table | None
    mapping: ImportMapping
    faults: FaultList
    assumed: list[str] = field(default_factory=list)
    offset: Offset | None = None

    def imported(self) -> Imported:
        clocks = lay_beside(self.log, self.sheet, self.mapping.clock_offset_s, self.faults)
        self.faults.raise_any()
        name = self._default_point()
        runs = runs_of(self.sheet, clocks, name, self.faults) if self.sheet is not None else None
        times = None if clocks is None else clocks.log
        by = way_of(self.log, runs, times, self.mapping, self.faults)
        self.faults.raise_any()
        assert by is not None
        points = self._points(runs, name)
        found = self._presented(by, runs, clocks, points)
        self.faults.raise_any()
        level, differs = levels_of(self.log, runs, found, self.mapping, self.faults)
        points = _points_of_runs(points, found, runs, name)
        self.faults.raise_any()
        keep, tally = self._kept(found, level)
        if not keep.any():
            self._nothing(tally)
        self._refuse_without_antenna(points, keep)
        known = self._known_levels(runs)
        reads = self._reads(points, found, snapped(level, known), keep)
        passes = _passes(points, found, keep, runs)
        spelling = Spelling(self.log.forms.get("epc", "hex"), self.mapping.epc_filter)
        roster = roster_of(self.tags, runs, passes, spelling, self.faults)
        levels = levels_by_point(reads, runs, passes, self.mapping.levels_dbm or ())
        self._refuse_unknown(levels)
        self.faults.raise_any()
        files = files_of(reads, roster, runs, passes, levels)
        case = read_case_files({k: v.encode() for k, v in files.items() if k in _CASE})
        read: Read = {"log": self.log, "run_sheet": self.sheet, "tags": self.tags}
        also = (clocks.assumed if clocks else ()), found.assumed, (runs.assumed if runs else ())
        tally = _with_tags(tally, reads, roster)
        rows = np.flatnonzero(keep)
        at = None if times is None else times[rows]
        tids = self.log.texts["tid"].take(rows) if "tid" in self.log.texts else None
        findings = suspicions(
            Evidence(case, reads, at, tids, differs[rows], self.offset, runs, tally,
                     self.mapping, by)
        )  # fmt: skip
        mapping = settled(self.mapping, read, by)
        return Imported(
            tuple(_point(point.name, reads, point.survey.levels_dbm, passes) for point in case),
            by,
            tally,
            columns_of(read),
            assumed_of(read, self.assumed, *also),
            findings,
            tuple(f"{point.name}: {text}" for point in case for text in point.warnings),
            mapping,
            files | {"mapping.json": mapping_text(mapping)},
        )

    def _default_point(self) -> str:
        if self.mapping.read_point is not None:
            return self.mapping.read_point
        named = "read_point" in self.log.texts
        if not named and (self.sheet is None or "read_point" not in self.sheet.texts):
            self.assumed.append(
                f'no file names the read point: it is called "{_UNNAMED}" ("read_point" in the '
                "mapping file names it)"
            )
        return _UNNAMED

    def _known_levels(self, runs: Runs | None) -> Floats:
        """The levels that the mapping or the run sheet names."""
        said = np.array(self.mapping.levels_dbm or (), np.float64)
        if runs is not None:
            said = np.concatenate([said, runs.level[np.isfinite(runs.level)]])
        if not len(said):
            self.assumed.append(
                "the levels are those that the log names; one at which nothing was read is lacking "
                '("levels_dbm" in the mapping file, or a level column on the run sheet, names all)'
            )
        return np.unique(said)

    def _points(self, runs: Runs | None, name: str) -> Texts:
        """The read point of each row; "" where the run sheet has several and the log none."""
        if "read_point" in self.log.texts:
            column = self.log.texts["read_point"]
            return Texts(column.codes, tuple(value or name for value in column.values))
        of_sheet = set(runs.points) if runs is not None else set()
        only = next(iter(of_sheet)) if len(of_sheet) == 1 else "" if of_sheet else name
        return Texts(np.zeros(len(self.log), np.int64), (only,))

    def _presented(
        self, by: PassesBy, runs: Runs | None, clocks: Clocks | None, points: Texts
    ) -> Presented:
        if by == "column":
            return by_column(self.log, runs, points)
        assert clocks is not None
        if by == "windows":
            assert runs is not None
            self.offset = offset_of(clocks.log, runs.start, runs.end)
            if self.offset is not None and self.offset.sure:
                seconds = figure(self.mapping.clock_offset_s + self.offset.seconds)
                allowed = f'If so, say "clock_offset_s": {seconds} in the mapping file.'
                said = self.offset.text().removesuffix(".")
                wrong = f"{said[0].lower()}{said[1:]}"
                self.faults.add(Fault(self.log.source, None, "time", "", allowed, wrong=wrong))
            return by_windows(clocks.log, runs, points, self.faults)
        if self.mapping.pause_s is None:
            todo = "Give how many seconds the pauses between passes take at least."
            raise InputError.one(MAPPING_FILE, "", todo, column="pause_s")
        return by_pauses(clocks.log, self.mapping.pause_s, runs, self.faults)

    def _kept(self, found: Presented, level: Floats) -> tuple[Bools, Tally]:
        """Which rows are reads of the case; each of the others has one reason, the first."""
        epc = self.log.texts["epc"]
        lacking = [
            np.array([not value for value in epc.values], bool)[epc.codes],
            found.of_row < 0,
            np.isnan(self.log.numbers["rssi"]),
            np.isnan(level),
        ]
        keep = np.ones(len(self.log), bool)
        counts = []
        for one in lacking:
            counts.append(int((keep & one).sum()))
            keep &= ~one
        without_epc, outside, without_rssi, without_level = counts
        kept = int(keep.sum())
        return keep, Tally(
            len(self.log), kept, outside, without_epc, without_rssi, without_level, 0, 0, 0
        )

    def _refuse_without_antenna(self, points: Texts, keep: Bools) -> None:
        """Reads of no antenna at a read point where others name theirs."""
        if "antenna" not in self.log.numbers:
            return
        named = np.isfinite(self.log.numbers["antenna"])
        lacking = keep & ~named & np.isin(points.codes, points.codes[keep & named])
        allowed = "an antenna, since other rows of this read point name theirs"
        for line in self.log.lines[lacking].tolist():
            self.faults.add(Fault(self.log.source, line, "antenna", "", allowed))

    def _nothing(self, tally: Tally) -> None:
        found = (
            f"holds no read of a pass: of {tally.rows:,} rows {tally.outside_passes:,} are outside "
            f"the passes, {tally.without_epc:,} without an EPC, {tally.without_rssi:,} without "
            f"RSSI, {tally.without_level:,} without a level"
        )
        raise InputError.one(
            self.log.source, "", "a log with at least one read of a pass at a level", wrong=found
        )

    def _refuse_unknown(self, levels: dict[str, Floats]) -> None:
        """Read points of the run sheet whose levels nothing tells, since nothing was read there."""
        todo = (
            "Name the read point as the log does, give the run sheet a column of levels, or say "
            '"levels_dbm" in the mapping file.'
        )
        for point in (name for name, found in levels.items() if not len(found)):
            assert self.sheet is not None
            wrong = f'nothing was read at "{point}", and no level is given for it'
            self.faults.add(Fault(self.sheet.source, None, "read_point", "", todo, wrong=wrong))

    def _reads(self, points: Texts, found: Presented, level: Floats, keep: Bools) -> Reads:
        rows = np.flatnonzero(keep)
        numbers = self.log.numbers
        since = found.since_s[rows]
        timed = bool(np.isfinite(since).all())
        return Reads(
            points.take(rows),
            Texts(found.of_row[rows], found.passes),
            self.log.texts["epc"].take(rows),
            level[rows],
            numbers["rssi"][rows],
            numbers["antenna"][rows] if "antenna" in numbers else None,
            numbers["reads"][rows] if "reads" in numbers else None,
            since if timed else None,
        )


def _unrecognised(log: Table, role: Role) -> Fault:
    """What is said where no column of a log is recognised as one that it needs."""
    say = f'{{"log": {{"columns": {{"{role}": "COLUMN"}}}}}}'
    todo = f"If one of the columns is, say which in the mapping file, as {say}."
    named = next(
        (one for one in log.columns if one.role is None and likeness(one.name, role)), None
    )
    if named is not None:
        wrong = (
            f'too few values of the column "{named.name}" are {TERMS[role].what} '
            f"({some(list(named.sample))})"
        )
        todo = "Correct the values of this column, or leave out the rows that have none."
    else:
        names = ", ".join(f'"{column.name}"' for column in log.columns)
        wrong = f"is none of the columns {names}"
    return Fault(log.source, None, role, "", todo, wrong=wrong)


_CASE = ("reads.csv", "roster.csv", "site.json", "tried.csv", "passes.csv")


def _points_of_runs(points: Texts, found: Presented, runs: Runs | None, name: str) -> Texts:
    """Where the log names no read point and the run sheet several, that of each read's row."""
    if points.values != ("",):
        return points
    assert runs is not None
    names = tuple(dict.fromkeys(runs.points))
    codes = np.array([names.index(point) for point in runs.points], np.int64)
    return Texts(codes[np.maximum(found.run_of_row, 0)], names)


def _passes(
    points: Texts, found: Presented, keep: Bools, runs: Runs | None
) -> dict[str, tuple[str, ...]]:
    """The passes of each read point: those with reads, and those of the run sheet."""
    pairs = np.unique(points.codes[keep] * len(found.passes) + found.of_row[keep])
    named: dict[str, dict[str, None]] = {}
    for pair in pairs:
        at, one = divmod(int(pair), len(found.passes))
        named.setdefault(points.values[at], {})[found.passes[one]] = None
    if runs is not None:
        for place, name in zip(runs.points, runs.passes, strict=True):
            named.setdefault(place, {})[name] = None
    return {point: tuple(sorted(named[point], key=natural)) for point in sorted(named, key=natural)}


def _with_tags(tally: Tally, reads: Reads, roster: Roster) -> Tally:
    unknown = np.array([value not in roster.known for value in reads.epc.values], bool)
    count = np.bincount(reads.epc.codes, minlength=len(reads.epc.values))
    read = {value for value, n in zip(reads.epc.values, count, strict=True) if n}
    return replace(
        tally,
        reads_of_unlisted_tags=int(count[unknown].sum()),
        unlisted_tags=int((unknown & (count > 0)).sum()),
        listed_tags_never_read=len(roster.known - read),
    )


def _point(
    name: str, reads: Reads, levels: Floats, passes: dict[str, tuple[str, ...]]
) -> ImportedPoint:
    code = reads.point.values.index(name) if name in reads.point.values else -1
    mine = reads.point.codes == code
    tags = len(np.unique(reads.epc.codes[mine]))
    return ImportedPoint(
        name, len(passes.get(name, ())), tuple(map(float, levels)), tags, int(mine.sum())
    )
