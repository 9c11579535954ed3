"""What was measured at one read point: tags, roster, reads, and which pairs were tried."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from strategist.survey.order import figure
from strategist.survey.policy import Policy

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["reads", "roster", "tried", "passes"]  # the tables of a survey

# as numpy.typing has it, which takes 10 ms to load
Ints = np.ndarray[tuple[Any, ...], np.dtype[np.int64]]
Floats = np.ndarray[tuple[Any, ...], np.dtype[np.float64]]
Bools = np.ndarray[tuple[Any, ...], np.dtype[np.bool_]]
Bytes = np.ndarray[tuple[Any, ...], np.dtype[np.uint8]]

_TOLD_OF_READS = {  # columns of reads.csv that a case may lack
    "read_antenna": "antenna",
    "read_count": "reads",
    "read_t_s": "t_s",
    "read_channel_mhz": "channel_mhz",
}
_OF_READS = ("read_pass", "read_level", "read_tag", "read_rssi", *_TOLD_OF_READS)


@dataclass(frozen=True, slots=True)
class Tag:
    """What one tag carries. Banks are upper-case hex of whole bytes; None means not recorded.

    `epc` is the EPC alone (it begins at bit 32 of the EPC bank), `tid` and `user` begin at bit 0.
    """

    epc: str
    tid: str | None = None
    user: str | None = None
    tag_type: str | None = None


@dataclass(frozen=True, eq=False)
class Predicted:
    """Which (pass, level) pairs of a survey hold predicted reads, and how far these may be off.

    `pairs[p, l]` is True where they do. Of 95 in 100, turn-on is off by at most `turn_on_db` and
    RSSI by at most `rssi_db`. `right` is the share of measured cells that were foreseen as read or
    not when their levels were hidden (None: too few to say).
    """

    pairs: Bools
    turn_on_db: float
    rssi_db: float
    right: float | None


@dataclass(frozen=True, eq=False)
class Survey:
    """The measurements of one read point, as parallel read-only arrays.

    Roster entry i says that tag `roster_tag[i]` was present in pass `roster_pass[i]`, wanted or
    stray by `roster_wanted[i]`; `roster_listed[i]` is False for a tag that was read without being
    on the roster and counts as stray. Read j says that in pass `read_pass[j]`, at level index
    `read_level[j]`, tag `read_tag[j]` was seen with `read_rssi[j]` dBm; the same triple may come
    several times. `tried[p, l]` is False where pass p was not surveyed at level l, which is not
    the same as surveyed and not read (True, and no read). `predicted` marks the pairs that were
    not surveyed and hold predicted reads instead; they count as tried (None: there are none).

    What passes.csv says of pass p stands in `pass_condition[p]`, `pass_day[p]` ("": not given) and
    `pass_weight[p]` (how often such a pass happens); each is empty, or None, where none is given.

    Raises ValueError when the arrays contradict each other; users' files are judged before that,
    with better words, when they are read.
    """

    read_point: str
    levels_dbm: Floats
    pass_ids: tuple[str, ...]
    tags: tuple[Tag, ...]
    roster_pass: Ints
    roster_tag: Ints
    roster_wanted: Bools
    roster_listed: Bools
    read_pass: Ints
    read_level: Ints
    read_tag: Ints
    read_rssi: Floats
    tried: Bools
    predicted: Predicted | None = None
    antennas: tuple[int, ...] = ()
    read_antenna: Ints | None = None
    read_count: Ints | None = None
    read_t_s: Floats | None = None
    read_channel_mhz: Floats | None = None
    dwell_s: Floats | None = None
    pass_condition: tuple[str, ...] = ()
    pass_day: tuple[str, ...] = ()
    pass_weight: Floats | None = None

    def __post_init__(self) -> None:
        passes, levels, tags = len(self.pass_ids), len(self.levels_dbm), len(self.tags)
        if not passes or not levels or np.any(np.diff(self.levels_dbm) <= 0):
            raise ValueError("a survey needs passes and ascending levels")
        pairs = self.tried if self.predicted is None else self.predicted.pairs
        heard = self.tried if self.dwell_s is None else self.dwell_s
        for name, table in (("tried", self.tried), ("predicted", pairs), ("dwell_s", heard)):
            if table.shape != (passes, levels):
                raise ValueError(f"{name} has shape {table.shape}, not {(passes, levels)}")
        if not self.tried[pairs].all():
            raise ValueError("a predicted pair that does not count as tried")
        roster = (self.roster_pass, self.roster_tag, self.roster_wanted, self.roster_listed)
        reads = tuple(getattr(self, name) for name in self._of_reads())
        for columns in (roster, reads):
            if len({len(column) for column in columns}) != 1:
                raise ValueError("parallel arrays of different length")
        for index, size in (
            (self.roster_pass, passes),
            (self.roster_tag, tags),
            (self.read_pass, passes),
            (self.read_level, levels),
            (self.read_tag, tags),
        ):
            if len(index) and not (index.min() >= 0 and index.max() < size):
                raise ValueError("an index points outside its axis")
        self._judge_columns()
        entries = self.roster_pass * tags + self.roster_tag
        if len(np.unique(entries)) < len(entries):
            raise ValueError("a tag is on the roster of a pass twice")
        if not np.isin(self.read_pass * tags + self.read_tag, entries).all():
            raise ValueError("a read has no roster entry")
        if not self.tried[self.read_pass, self.read_level].all():
            raise ValueError("a read at a level where its pass was not tried")
        for array in (*roster, *reads, self.levels_dbm, self.tried, pairs, heard, self._weights()):
            array.setflags(write=False)

    def _weights(self) -> Floats:
        return np.zeros(0) if self.pass_weight is None else self.pass_weight

    def _judge_columns(self) -> None:
        for column in (self.pass_condition, self.pass_day, self._weights()):
            if len(column) not in (0, len(self.pass_ids)):
                raise ValueError("a column of passes with another number of them")
        named = () if self.read_antenna is None else self.read_antenna
        if not np.isin(named, self.antennas).all():
            raise ValueError("a read of an antenna that the survey does not have")

    def __repr__(self) -> str:
        return f"Survey({self.read_point!r}: {self.size})"

    @property
    def size(self) -> str:
        """Passes, levels, tags and reads in words."""
        lowest, highest = figure(self.levels_dbm[0]), figure(self.levels_dbm[-1])
        return (
            f"{len(self.pass_ids)} passes at {len(self.levels_dbm)} levels of {lowest} to "
            f"{highest} dBm, {len(self.tags)} tags, {len(self.read_tag)} reads"
        )

    def _of_reads(self) -> tuple[str, ...]:
        """The arrays that have an entry for each read."""
        return tuple(name for name in _OF_READS if getattr(self, name) is not None)

    def with_reads(self, keep: Bools | Ints) -> Survey:
        """The survey with some of its reads."""
        return replace(self, **{name: getattr(self, name)[keep] for name in self._of_reads()})

    def of_numbers(
        self, of_pass: Ints, level: Ints, tag: Ints, rssi: Floats, **more: Any
    ) -> Survey:
        """The survey with one number for a tag at a level of a pass in place of its reads: of no
        antenna, and at no time. `more` are other fields that change."""
        return replace(
            self,
            read_pass=of_pass,
            read_level=level,
            read_tag=tag,
            read_rssi=rssi,
            antennas=(),
            read_antenna=None,
            read_count=None,
            read_t_s=None,
            read_channel_mhz=None,
            dwell_s=None,
            **more,
        )

    def each_once(self) -> Survey:
        """The survey without conditions, days and weights: each pass counts once."""
        return replace(self, pass_condition=(), pass_day=(), pass_weight=None)

    def to_frame(self, kind: Kind = "reads") -> pd.DataFrame:
        """What was measured, with the columns of reads.csv, roster.csv, tried.csv or
        passes.csv.

        Predicted reads are left out, and tags that were read without being on the roster are not
        on it, so `Case.from_frames` makes the same survey of the three.
        """
        import pandas as pd  # noqa: PLC0415 (slow to load)

        survey = self.as_measured()
        columns = {
            "reads": survey._reads,
            "roster": survey._roster,
            "tried": survey._tried,
            "passes": survey._passes,
        }[kind]()
        frame = pd.DataFrame(columns)
        frame.insert(0, "read_point", survey.read_point)
        return frame

    def _reads(self) -> dict[str, Any]:
        return {
            "pass_id": np.array(self.pass_ids, object)[self.read_pass],
            "power_dbm": self.levels_dbm[self.read_level],
            "epc": self._carried("epc")[self.read_tag],
            "rssi_dbm": self.read_rssi,
            **{
                column: getattr(self, name)
                for name, column in _TOLD_OF_READS.items()
                if getattr(self, name) is not None
            },
        }

    def _roster(self) -> dict[str, Any]:
        entry = np.flatnonzero(self.roster_listed)
        tag = self.roster_tag[entry]
        return {
            "pass_id": np.array(self.pass_ids, object)[self.roster_pass[entry]],
            "epc": self._carried("epc")[tag],
            "role": np.where(self.roster_wanted[entry], "wanted", "stray"),
            **{name: self._carried(name)[tag] for name in ("tid", "user", "tag_type")},
        }

    def _tried(self) -> dict[str, Any]:
        at, level = np.nonzero(self.tried)
        ids = np.array(self.pass_ids, object)
        dwell = {} if self.dwell_s is None else {"dwell_s": self.dwell_s[at, level]}
        return {"pass_id": ids[at], "power_dbm": self.levels_dbm[level], **dwell}

    def _passes(self) -> dict[str, Any]:
        given = {"condition": self.pass_condition, "day": self.pass_day, "weight": self._weights()}
        texts = {name: list(column) for name, column in given.items() if len(column)}
        return {"pass_id": list(self.pass_ids), **texts}

    def _carried(self, name: str) -> np.ndarray[tuple[Any, ...], np.dtype[np.object_]]:
        return np.array([getattr(tag, name) for tag in self.tags], object)

    def untried_pairs(self) -> list[tuple[str, float]]:
        """(pass id, level in dBm) of each pair that was not surveyed, by pass and level."""
        return [
            (self.pass_ids[p], float(self.levels_dbm[level]))
            for p, level in np.argwhere(~self.tried)
        ]

    @property
    def measured(self) -> Bools:
        """Which (pass, level) pairs were tried in earnest: shape (passes, levels)."""
        return self.tried if self.predicted is None else self.tried & ~self.predicted.pairs

    def as_measured(self) -> Survey:
        """The survey without what was predicted."""
        if self.predicted is None:
            return self
        of_reads = self.measured[self.read_pass, self.read_level]
        return replace(self.with_reads(of_reads), tried=self.measured, predicted=None)

    def keep(self, *, passes: Bools | None = None, levels: Bools | None = None) -> Survey:
        """The survey of a part of the passes or levels (boolean masks over their axes)."""
        keep_p = np.ones(len(self.pass_ids), bool) if passes is None else passes
        keep_l = np.ones(len(self.levels_dbm), bool) if levels is None else levels
        if keep_p.all() and keep_l.all():
            return self
        new_p, new_l = np.cumsum(keep_p) - 1, np.cumsum(keep_l) - 1
        of_roster = keep_p[self.roster_pass]
        of_reads = keep_p[self.read_pass] & keep_l[self.read_level]
        predicted = self.predicted
        if predicted is not None:
            predicted = replace(predicted, pairs=predicted.pairs[np.ix_(keep_p, keep_l)])
        pairs = np.ix_(keep_p, keep_l)
        reads = {name: getattr(self, name)[of_reads] for name in self._of_reads()}
        reads["read_pass"] = new_p[reads["read_pass"]]
        reads["read_level"] = new_l[reads["read_level"]]
        return replace(
            self,
            levels_dbm=self.levels_dbm[keep_l],
            pass_ids=tuple(p for p, kept in zip(self.pass_ids, keep_p, strict=True) if kept),
            roster_pass=new_p[self.roster_pass[of_roster]],
            roster_tag=self.roster_tag[of_roster],
            roster_wanted=self.roster_wanted[of_roster],
            roster_listed=self.roster_listed[of_roster],
            tried=self.tried[pairs],
            predicted=predicted if predicted is not None and predicted.pairs.any() else None,
            dwell_s=None if self.dwell_s is None else self.dwell_s[pairs],
            pass_condition=tuple(itertools.compress(self.pass_condition, keep_p)),
            pass_day=tuple(itertools.compress(self.pass_day, keep_p)),
            pass_weight=None if self.pass_weight is None else self.pass_weight[keep_p],
            **reads,
        )

    def without_tags(self, out: Bools) -> Survey:
        """The survey as if the tags marked in `out` had never been there."""
        of_roster, of_reads = ~out[self.roster_tag], ~out[self.read_tag]
        number = np.cumsum(~out) - 1
        reads = {name: getattr(self, name)[of_reads] for name in self._of_reads()}
        reads["read_tag"] = number[reads["read_tag"]]
        return replace(
            self,
            tags=tuple(tag for tag, gone in zip(self.tags, out, strict=True) if not gone),
            roster_pass=self.roster_pass[of_roster],
            roster_tag=number[self.roster_tag[of_roster]],
            roster_wanted=self.roster_wanted[of_roster],
            roster_listed=self.roster_listed[of_roster],
            **reads,
        )


@dataclass(frozen=True, eq=False)
class ReadPoint:
    """A survey with its policy, and the warnings of its reading (whole sentences)."""

    survey: Survey
    policy: Policy
    warnings: tuple[str, ...] = ()

    def __repr__(self) -> str:
        count = len(self.warnings)
        warned = f"; {count} warning{'s' * (count > 1)}" if count else ""
        return f"ReadPoint({self.name!r}: {self.survey.size}{warned})"

    @property
    def name(self) -> str:
        return self.survey.read_point
