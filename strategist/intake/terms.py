"""What the columns of raw files are called: the words of the trade and of the open standards.

Names such as PeakRSSI, AntennaID or FirstSeenTimestampUTC are those of LLRP 1.0.1; the others are
common practice, no source. A header is compared by its words, without case, marks and units.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

Kind = Literal["log", "run_sheet", "tags"]
KINDS: tuple[Kind, ...] = get_args(Kind)
Role = Literal[
    "read_point", "pass", "time", "date", "epc", "rssi", "power", "antenna", "reads", "rospec",
    "tid", "start", "end", "duration", "condition", "weight", "wanted", "stray", "role", "list",
    "label", "user", "tag_type",
]  # fmt: skip


@dataclass(frozen=True)
class Term:
    """A role that a column may have: what it is called, and what it holds, in words."""

    called: str
    what: str

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(self.called.split(", "))


TERMS: dict[Role, Term] = {
    "read_point": Term(
        "read point, readpoint, location, portal, gate, reader, reader name, place",
        "the name of the read point",
    ),
    "pass": Term(
        "pass, pass id, pass no, pass number, run, run id, run no, trial, load, "
        "presentation, test, test no, durchgang, passage",
        "the number or name of the pass",
    ),
    "time": Term(
        "time, timestamp, date time, datetime, first seen, first seen timestamp utc, "
        "first seen utc, first seen time, seen at, read time, zeit, zeitstempel, uhrzeit, "
        "heure, first seen timestamp uptime, epoch",
        "when the tag was read",
    ),
    "date": Term("date, day, datum, jour", "the day"),
    "epc": Term(
        "epc, epc hex, epc code, tag, tag id, epc id, uii, epc uri, tag uri, pc epc, "
        "pcepc, epc data, epc 96, transponder",
        "the EPC, as hex or URI",
    ),
    "rssi": Term(
        "rssi, peak rssi, max rssi, signal, signal strength, rx level, strength, received "
        "power, rx power, receive level, empfangspegel, pegel",
        "the RSSI of the read",
    ),
    "power": Term(
        "power, tx power, transmit power, power level, level, conducted power, rf power, "
        "output power, leistung, sendeleistung, puissance, transmit level",
        "the transmit power",
    ),
    "antenna": Term(
        "antenna, antenna id, antenna port, antenna no, ant, port, antenne",
        "the antenna's number",
    ),
    "reads": Term(
        "reads, read count, count, seen count, tag seen count, tag count, number of "
        "reads, anzahl, times seen",
        "how many reads a row sums up",
    ),
    "rospec": Term("ro spec id, rospec id, rospec, ro spec", "the ROSpec's number"),
    "tid": Term("tid, tid hex, tid bank", "the TID bank, as hex"),
    "user": Term("user, user memory, user bank, user hex", "user memory, as hex"),
    "start": Term(
        "start, begin, from, start time, started, on, beginn, von, debut",
        "when the pass began",
    ),
    "end": Term(
        "end, stop, until, to, end time, stopped, off, ende, bis, fin",
        "when it ended",
    ),
    "duration": Term(
        "duration, dwell, seconds, length, dauer, duree",
        "how long it lasted, seconds",
    ),
    "condition": Term(
        "condition, conditions, circumstances, remark, remarks, note, notes, setup, "
        "comment, bedingung, bemerkung",
        "the condition of the pass",
    ),
    "weight": Term("weight, frequency, how often, share", "how often such a pass happens"),
    "wanted": Term(
        "wanted, wanted tags, tags wanted, expected tags, belongs, wanted list",
        "the wanted tags: EPCs, labels or names of lists",
    ),
    "stray": Term(
        "stray, strays, stray tags, neighbours, others",
        "the stray tags: EPCs, labels or names of lists",
    ),
    "role": Term("role, wanted or stray, belongs here, class, rolle", "wanted or stray"),
    "list": Term("list, list name, group, set, liste, gruppe", "the tag's list"),
    "label": Term("label, name, item, tag no, short name, marking", "the tag's label"),
    "tag_type": Term("tag type, type, inlay, model, chip, typ", "the type of tag"),
}

ROLE_WORDS: dict[str, str] = {
    **dict.fromkeys(("wanted", "w", "yes", "y", "in", "ours", "1", "x", "true"), "wanted"),
    **dict.fromkeys(("stray", "s", "no", "n", "out", "other", "0", "false"), "stray"),
}

ROLES: dict[Kind, tuple[Role, ...]] = {
    "log": (
        *("read_point", "pass", "epc", "rssi", "power", "antenna", "reads", "rospec", "tid"),
        *("time", "date"),
    ),
    "run_sheet": (
        *("read_point", "pass", "start", "end", "duration", "power", "rospec", "condition"),
        *("weight", "wanted", "stray", "date"),
    ),
    "tags": ("read_point", "pass", "epc", "role", "list", "label", "tid", "user", "tag_type"),
}

_UNITS = {
    *("dbm", "mw", "cdbm", "ddbm", "hex", "utc", "s", "ms", "us", "μs", "sec", "x10", "x100"),
    *("local", "id", "no", "nr", "db", "in", "the", "of"),
}
_OF_A_KIND = {"max", "min", "mean", "avg", "average", "value", "peak", "raw", "first", "last"}
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")


def words_of(header: str) -> tuple[str, ...]:
    """A header's words: lower case, camel case parted, marks dropped."""
    parted = _CAMEL.sub(" ", re.sub("dBm|mW", lambda unit: unit[0].lower(), header))
    return tuple(word for word in re.split(r"[^0-9a-zµμäöüéè]+", parted.lower()) if word)


def likeness(header: str, role: Role) -> int:
    """How surely a header names a role: 3 exactly, 2 but for its unit, 1 by its last word, 0 not.

    The last word says what a column is, those before it of what kind: "reader RSSI" is an RSSI.
    """
    words = words_of(header)
    named = [tuple(one.split()) for one in TERMS[role].words]
    if "".join(words) in {"".join(one) for one in named}:
        return 3
    bare = [word for word in words if word not in _UNITS]
    if not bare:
        return 0
    if "".join(bare) in {"".join(w for w in one if w not in _UNITS) for one in named}:
        return 2
    last = next((word for word in reversed(bare) if word not in _OF_A_KIND), "")
    return int(any(last in one and set(one) <= set(words) for one in named))
