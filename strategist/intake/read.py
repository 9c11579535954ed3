"""From files to tables of values: columns recognised, units told, the unknown asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from strategist.errors import Fault
from strategist.intake.mapping import TableMapping
from strategist.intake.recognise import Column, how_to_say, recognise
from strategist.intake.sheet import Sheet, coded
from strategist.intake.terms import ROLES, Kind, Role
from strategist.intake.times import FORM_WORDS as TIME_WORDS
from strategist.intake.times import NEVER, Times, forms_of_times, times_of
from strategist.intake.values import (
    DBM_OF,
    FORM_WORDS,
    epc_in,
    form_of_epcs,
    form_of_power,
    form_of_rssi,
    levels_of_mw,
    number,
    odd_rssi,
    plain_hex,
    why_no_epc,
)
from strategist.survey.faults import FaultList
from strategist.survey.order import some
from strategist.survey.policy import ANTENNA_MAX, RSSI_DBM_MAX, RSSI_DBM_MIN
from strategist.survey.records import Floats, Ints
from strategist.survey.texts import Codes, Texts

_MEASURES: tuple[Role, ...] = ("rssi", "power", "antenna", "reads", "duration", "weight")
_NAMES: tuple[Role, ...] = ("read_point", "pass", "epc", "rospec", "tid")
_UNITS_IN_NAMES = {  # words of a header that settle the unit
    "mw": "mw",
    "milliwatt": "mw",
    "cdbm": "hundredths_dbm",
    "ddbm": "tenths_dbm",
    "x100": "hundredths_dbm",
    "x10": "tenths_dbm",
    "dbm": "dbm",
}


@dataclass(frozen=True, eq=False)
class Table:
    """A file's rows: text by role, numbers by role (NaN: none), and times by role.

    `forms` says how each was written, `assumed` what was taken to be so without being said.
    """

    source: str
    lines: Ints
    columns: tuple[Column, ...]
    texts: Mapping[Role, Texts]
    numbers: Mapping[Role, Floats]
    times: Mapping[Role, tuple[Times, Codes]]
    forms: Mapping[Role, str]
    assumed: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.lines)

    def time(self, role: Role, *, wall: bool) -> Ints | None:
        """Each row's time, by the clock as written or by UTC; None without such a column."""
        if role not in self.times:
            return None
        times, codes = self.times[role]
        return (times.wall if wall else times.utc)[codes]


@dataclass(eq=False)
class _Reading:
    """What is being read of a file, and what was found wrong in it."""

    sheet: Sheet
    kind: Kind
    mapping: TableMapping
    epc_filter: int | None
    faults: FaultList
    lines: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    names: dict[Role, str] = field(default_factory=dict)
    forms: dict[Role, str] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)

    @property
    def source(self) -> str:
        return self.sheet.source

    def refuse(self, role: Role, column: Texts, bad: Iterable[int], why: str | None = None) -> None:
        """A fault for each value that is not allowed, at the line where it stands first."""
        for code in bad:
            line = int(self.lines[np.argmax(column.codes == code)])
            value = column.values[code]
            allowed = why or why_no_epc(value)
            self.faults.add(Fault(self.source, line, role, value, allowed))

    def hint(self, role: Role) -> str | None:
        """How the file's own format says that a column is written."""
        return self.sheet.hints.get(self.names.get(role, ""))

    def ask(self, role: Role, wrong: str, example: str, words: str = "") -> None:
        """A fault that asks how a column is written."""
        say = how_to_say(self.kind, "forms", {role: example})
        todo = f"{words}Say which in the mapping file, as {say}."
        self.faults.add(Fault(self.source, None, role, "", todo, wrong=wrong))

    def form(self, role: Role, likely: Sequence[str], words: Mapping[str, str], found: str) -> str:
        """The one form that is said or likely, told as assumed where it is not the plain one."""
        said = self.mapping.forms.get(role) or self.hint(role)
        if said is not None:
            likely = [said]
        if len(likely) > 1:
            named = " or ".join(words[one] for one in likely)
            self.ask(role, f"may be {named} ({found})", likely[0])
            return ""
        if not likely:
            known = ", ".join(words.values())
            self.ask(role, f"is in no known form ({found})", next(iter(words)), f"Known: {known}. ")
            return ""
        self.forms[role] = likely[0]
        if said is None and likely[0] not in ("dbm", "hex", "iso"):
            self.assumed.append(f"{role} is in {words[likely[0]]} ({found})")
        return likely[0]


def read_table(
    sheet: Sheet, kind: Kind, mapping: TableMapping, faults: FaultList, epc_filter: int | None
) -> Table | None:
    """The table in a sheet; None after adding faults, which also ask for what cannot be known."""
    found = FaultList()
    columns = recognise(sheet, kind, mapping, found)
    used = [column for column in columns if column.role is not None]
    if found or not used:
        if not used and not found:
            say = how_to_say(kind, "columns", {"epc" if kind != "run_sheet" else "pass": "COLUMN"})
            what = (
                f"Call its columns {', '.join(ROLES[kind])} (those that it has), or say in a "
                f"mapping file which they are, as {say}."
            )
            wrong = f"has no column that is recognised: {', '.join(sheet.names)}"
            found.add(Fault(sheet.source, None, None, "", what, wrong=wrong))
        faults.extend(found)
        return None
    loaded, lines = sheet.load([column.place for column in used])
    if not len(lines):
        wrong = "has no row below the header"
        faults.add(Fault(sheet.source, None, None, "", "at least one", wrong=wrong))
        return None
    texts: dict[Role, Texts] = {c.role: t for c, t in zip(used, loaded, strict=True) if c.role}
    names = {column.role: column.name for column in used if column.role}
    of = _Reading(sheet, kind, mapping, epc_filter, found, lines, names, assumed=list(sheet.notes))
    if kind != "run_sheet" and "epc" in texts:
        texts["epc"] = _epcs(texts["epc"], of)
    numbers = {r: _numbers(r, texts[r], names[r], of) for r in _MEASURES if r in texts}
    times = _times(texts, of)
    if kind == "log":  # a million times as text are 100 MB
        texts = {role: texts[role] for role in _NAMES if role in texts}
    faults.extend(found)
    if found:
        return None
    return Table(
        sheet.source, lines, tuple(columns), texts, numbers, times, of.forms, tuple(of.assumed)
    )


def _epcs(column: Texts, of: _Reading) -> Texts:
    """EPCs as upper-case hex; "" stays for an empty cell."""
    plain = [plain_hex(value, of.epc_filter) if value else "" for value in column.values]
    bad = [code for code, value in enumerate(plain) if value is None]
    if bad:
        of.refuse("epc", column, bad)
        return column
    known = [value for value in plain if value]
    form = of.mapping.forms.get("epc") or of.hint("epc") or form_of_epcs(known)
    if form is None:
        found = some(known[:3])
        wrong = f"may be whole EPCs (hex), or EPCs behind their PC word (pc_epc): {found}"
        of.ask("epc", wrong, "hex")
        return column
    of.forms["epc"] = form
    if form != "hex" and "epc" not in of.mapping.forms:
        of.assumed.append(f"epc is {FORM_WORDS[form]} ({known[0]})")
    short = [i for i, v in enumerate(plain) if v and not epc_in(v, form)]
    long = [i for i, v in enumerate(plain) if v and len(epc_in(v, form)) > 124]
    of.refuse("epc", column, short + long, "an EPC of 1 to 62 bytes")
    again = coded([epc_in(value, form) if value else "" for value in plain if value is not None])
    return Texts(again.codes[column.codes], again.values)


def _numbers(role: Role, column: Texts, name: str, of: _Reading) -> Floats:
    values = np.array([number(text) if text else np.nan for text in column.values], np.float64)
    given = np.array([bool(text) for text in column.values], bool)
    bad = np.flatnonzero(given & np.isnan(values))
    if len(bad):
        of.refuse(role, column, bad, "a number")
        return values[column.codes]
    whole = {"antenna": (1, ANTENNA_MAX), "reads": (1, 10**9)}.get(role)
    if whole is not None:
        fits = (values >= whole[0]) & (values <= whole[1]) & (values == np.round(values))
        why = (
            f"a whole number from {whole[0]} to {whole[1]:,}; or leave the column out, as "
            + how_to_say(of.kind, "columns", {role: None})
        )
        of.refuse(role, column, np.flatnonzero(given & ~fits), why)
    if role == "rssi" and role not in of.mapping.forms and not of.hint(role):
        known = np.flatnonzero(given)
        rows = np.bincount(column.codes, minlength=len(given))[known]
        form, odd = odd_rssi(values[known], rows)
        if form:
            low, high = RSSI_DBM_MIN, RSSI_DBM_MAX
            why = f"{FORM_WORDS[form]}, as in the other rows: RSSI from {low:g} to {high:g} dBm"
            of.refuse(role, column, known[odd], why)
            return values[column.codes]
    if role in ("rssi", "power") and given.any():
        values[given] = _in_dbm(role, values[given], column, name, of)
    return np.round(values, 6)[column.codes]


def _in_dbm(role: Role, values: Floats, column: Texts, name: str, of: _Reading) -> Floats:
    """Power or RSSI in dBm, by the unit that the header, the cells or the values tell."""
    likely = form_of_rssi(values) if role == "rssi" else form_of_power(values)
    marks = set(name.lower().replace("(", " ").replace(")", " ").replace("_", " ").split())
    in_cells = {"mw" for text in column.values if text.lower().endswith("mw")}
    in_cells |= {"dbm" for text in column.values if text.lower().endswith("dbm")}
    named = [_UNITS_IN_NAMES[word] for word in _UNITS_IN_NAMES if word in marks | in_cells]
    if of.hint(role):
        named = [str(of.hint(role))]
    if named and (named[0] in likely or named[0] != "dbm"):
        of.forms[role] = of.mapping.forms.get(role) or named[0]
        form = of.forms[role]
    else:
        found = some([f"{value:g}" for value in np.unique(values)])
        words = {form: FORM_WORDS[form] for form in (likely or _likely_words(role))}
        if likely == ["minus_dbm"] and role not in of.mapping.forms:
            hint = "It may be dBm without their minus sign, or no dBm at all. "
            wrong = f"is all positive, and RSSI in dBm is negative ({found})"
            of.ask(role, wrong, "minus_dbm", hint)
            return values
        form = of.form(role, likely, words, found)
    if not form:
        return values
    if form == "mw":
        return levels_of_mw(values)
    return np.array([DBM_OF[form](float(value)) for value in values])


def _likely_words(role: Role) -> tuple[str, ...]:
    return ("dbm", "minus_dbm", "tenths_dbm", "hundredths_dbm") if role == "rssi" else (
        "dbm", "mw", "tenths_dbm", "hundredths_dbm")  # fmt: skip


def _times(texts: dict[Role, Texts], of: _Reading) -> dict[Role, tuple[Times, Codes]]:
    found: dict[Role, tuple[Times, Codes]] = {}
    roles: tuple[Role, ...] = ("time",) if of.kind == "log" else ("start", "end")
    for role in roles:
        if role in texts and any(texts[role].values):  # an empty column is none
            read = _time(role, texts[role], texts.get("date"), of)
            if read is not None:
                found[role] = read
    return found


def _time(
    role: Role, column: Texts, dates: Texts | None, of: _Reading
) -> tuple[Times, Codes] | None:
    sample = [text for text in dict.fromkeys(column.values) if text][:2000]
    likely = forms_of_times(sample)
    apart = of.mapping.forms.get(role) == "time_of_day"
    if likely == ["time_of_day"] and dates is not None and not apart:
        pairs = column.codes.astype(np.int64) * len(dates.values) + dates.codes
        once, codes = np.unique(pairs, return_inverse=True)
        parts = [divmod(int(pair), len(dates.values)) for pair in once]
        joined = [f"{dates.values[d]} {column.values[t]}".strip() * bool(column.values[t])
                  for t, d in parts]  # fmt: skip
        column = Texts(codes.astype(np.int64), tuple(joined))
        likely = forms_of_times([text for text in joined if text][:2000])
    form = of.form(role, likely, {**TIME_WORDS}, some(sample[:3]))
    if not form:
        return None
    times = times_of(column.values, form)
    bad = np.flatnonzero(times.bad & np.array([bool(text) for text in column.values], bool))
    if len(bad):
        of.refuse(role, column, bad, f"a time, written as {TIME_WORDS[form]}")
        return None
    return times, column.codes


__all__ = ["NEVER", "Table", "read_table"]
