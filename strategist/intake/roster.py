"""Who was there: from the tag list and the run sheet to the role of each tag in each pass."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from strategist.errors import Fault
from strategist.intake.read import Table
from strategist.intake.runs import Runs, parts_of
from strategist.intake.terms import ROLE_WORDS, Role
from strategist.intake.values import epc_in, plain_hex
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.order import natural, some

_EVERY = {"", "*", "all", "every", "each"}
Key = tuple[str, str, str]  # read point, pass, EPC


@dataclass(eq=False)
class Roster:
    """The role of each tag in each pass, with what the tag carries; `known` are all EPCs named."""

    roles: dict[Key, str] = field(default_factory=dict)
    carried: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    known: set[str] = field(default_factory=set)
    assumed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Spelling:
    """How the log writes EPCs, and the filter value of pure identities (None: not said)."""

    form: str
    epc_filter: int | None


@dataclass(frozen=True)
class _Listed:
    """A row of the tag list."""

    source: str
    line: int
    point: str
    passes: str
    epc: str
    role: str
    names: tuple[str, ...]


def roster_of(
    tags: Table | None,
    runs: Runs | None,
    passes: dict[str, tuple[str, ...]],
    spelling: Spelling,
    faults: FaultList,
) -> Roster:
    """The roster of the passes of each read point.

    What the run sheet says of a pass goes before the tag list's word for that pass, and that before
    what the tag list says of all passes. A tag whose role in a pass nothing tells is not on its
    roster.
    """
    roster = Roster()
    rows = _listed(tags, roster, faults) if tags is not None else []
    says_role = any(row.role for row in rows)
    sheet = runs is not None and bool({"wanted", "stray"} & runs.has)
    if not says_role and not sheet:
        allowed = (
            "a tag list with columns epc and role (wanted or stray) and, where the role changes, "
            "pass; or a column wanted on the run sheet"
        )
        source = tags.source if tags is not None else "tag list"
        wrong = "nothing tells which tags are wanted"
        faults.add(Fault(source, None, "role", "", allowed, wrong=wrong))
        return roster
    for special in (False, True):
        _of_list(rows, passes, roster, faults, special=special)
    if runs is not None:
        _of_sheet(_Tags(rows, spelling), runs, roster, faults)
    if not roster.roles and not faults:
        source = tags.source if tags is not None else "run sheet"
        wrong = "no tag has a role in any pass"
        faults.add(Fault(source, None, "role", "", "at least one that has", wrong=wrong))
    return roster


def _listed(tags: Table, roster: Roster, faults: FaultList) -> list[_Listed]:
    """The rows of the tag list; each says the EPC, and what it carries is noted."""
    if "epc" not in tags.texts:
        wrong = "no column of EPCs is recognised"
        faults.add(Fault(tags.source, None, "epc", "", "one, called epc", wrong=wrong))
        return []

    def texts(role: Role) -> list[str]:
        column = tags.texts.get(role)
        return [column[i] for i in range(len(tags))] if column else [""] * len(tags)

    read = {r: texts(r) for r in ("read_point", "pass", "epc", "role", "list", "label")}
    carried = zip(texts("tid"), texts("user"), texts("tag_type"), strict=True)
    rows = []
    for i, (tid, user, tag_type) in enumerate(carried):
        line, epc, role = int(tags.lines[i]), read["epc"][i], read["role"][i].lower()
        if not epc:
            faults.add(Fault(tags.source, line, "epc", "", "the EPC of the tag"))
            continue
        if role and role not in ROLE_WORDS:
            faults.add(Fault(tags.source, line, "role", read["role"][i], "wanted or stray"))
            continue
        banks = [_bank(text, name, tags.source, line, faults)
                 for text, name in ((tid, "tid"), (user, "user"))]  # fmt: skip
        before = roster.carried.get(epc, ("", "", ""))
        now = (banks[0], banks[1], tag_type)
        roster.carried[epc] = tuple(b or a for a, b in zip(before, now, strict=True))  # type: ignore[assignment]
        roster.known.add(epc)
        names = tuple(name for name in (read["list"][i], read["label"][i]) if name)
        role = ROLE_WORDS.get(role, "")
        at = (read["read_point"][i], read["pass"][i])
        rows.append(_Listed(tags.source, line, *at, epc, role, names))
    return rows


def _bank(text: str, name: str, source: str, line: int, faults: FaultList) -> str:
    if not text:
        return ""
    found = plain_hex(text)
    if found is None:
        faults.add(Fault(source, line, name, text, "hex of whole bytes, or empty"))
    return found or ""


def _of_list(
    rows: list[_Listed],
    passes: dict[str, tuple[str, ...]],
    roster: Roster,
    faults: FaultList,
    *,
    special: bool,
) -> None:
    """Roles in all passes, or those in certain ones (`special`)."""
    said: dict[Key, _Listed] = {}
    meant = _Meant(passes)
    for row in rows:
        if not row.role or (row.passes.lower() not in _EVERY) != special:
            continue
        if row.point and row.point not in passes:
            todo = f"Known read points: {some(list(passes))}{nearest_hint(row.point, passes)}."
            wrong = f'there is no read point "{row.point}"'
            faults.add(Fault(row.source, row.line, "read_point", row.point, todo, wrong=wrong))
            continue
        for point in [row.point] if row.point else passes:
            named = meant(point, row, faults, alone=len(passes) == 1 or bool(row.point))
            for name in named:
                key = (point, name, row.epc)
                if key in said and said[key].role != row.role:
                    found = (
                        f"{row.epc} is {row.role} in pass {name}, and {said[key].role} by line "
                        f"{said[key].line}"
                    )
                    allowed = "each tag one role in a pass"
                    faults.add(Fault(row.source, row.line, "role", "", allowed, wrong=found))
                said[key] = row
                roster.roles[key] = row.role


class _Meant:
    """The passes that a cell names: all of them, one, several, or a range ("p3-p9", "3..9")."""

    def __init__(self, passes: dict[str, tuple[str, ...]]) -> None:
        self._passes = {point: dict.fromkeys(names) for point, names in passes.items()}
        self._order = {point: sorted(names, key=natural) for point, names in passes.items()}
        self._kept: dict[tuple[str, str], tuple[list[str], list[str]]] = {}

    def __call__(self, point: str, row: _Listed, faults: FaultList, *, alone: bool) -> list[str]:
        cell = row.passes
        if (point, cell) not in self._kept:
            self._kept[point, cell] = self._find(point, cell)
        named, unknown = self._kept[point, cell]
        if unknown and alone:
            known = self._order[point]
            todo = f"Known passes, by the log and the run sheet: {some(known)}."
            wrong = f'there is no pass "{unknown[0]}"'
            faults.add(Fault(row.source, row.line, "pass", unknown[0], todo, wrong=wrong))
        return named

    def _find(self, point: str, cell: str) -> tuple[list[str], list[str]]:
        known, order = self._passes[point], self._order[point]
        if cell.lower() in _EVERY:
            return order, []
        named: list[str] = []
        unknown: list[str] = []
        for part in parts_of(cell, lambda text: text in known):
            ends = re.fullmatch(r"(.+?)(?:-|–|\.\.)(.+)", part)
            if part in known:
                named.append(part)
            elif ends and ends[1] in known and ends[2] in known:
                low, high = order.index(ends[1]), order.index(ends[2])
                named += order[low : high + 1]
            else:
                unknown.append(part)
        return named, unknown


class _Tags:
    """The tags that a word on the run sheet means: an EPC, a label, or the name of a list."""

    def __init__(self, rows: list[_Listed], spelling: Spelling) -> None:
        self._names: dict[str, list[str]] = {}
        for row in rows:
            for name in row.names:
                self._names.setdefault(name, []).append(row.epc)
        self._listed = {row.epc for row in rows}
        self._spelling = spelling

    def __call__(self, text: str) -> list[str] | None:
        if text in self._names:
            return self._names[text]
        plain = plain_hex(text, self._spelling.epc_filter)
        if plain is None or plain in self._listed:
            return None if plain is None else [plain]
        epc = epc_in(plain, self._spelling.form)
        return [epc] if epc else None

    def know(self, text: str) -> bool:
        return self(text) is not None


def _of_sheet(tags: _Tags, runs: Runs, roster: Roster, faults: FaultList) -> None:
    """Roles that the run sheet gives."""
    said: dict[Key, tuple[int, str]] = {}
    unknown: dict[tuple[str, str], int] = {}
    for place, cells in (("wanted", runs.wanted), ("stray", runs.strays)):
        for i, cell in enumerate(cells):
            line = int(runs.lines[i])
            for part in (part for whole in cell for part in parts_of(whole, tags.know)):
                found = tags(part)
                if found is None:
                    unknown.setdefault((place, part), line)
                for epc in found or ():
                    key = (runs.points[i], runs.passes[i], epc)
                    if said.get(key, (line, place))[1] != place:
                        twice = (
                            f"{epc} is stray in pass {runs.passes[i]}, and wanted by line "
                            f"{said[key][0]}"
                        )
                        allowed = "each tag one role in a pass"
                        faults.add(Fault(runs.source, line, place, "", allowed, wrong=twice))
                    said[key] = (line, place)
                    roster.roles[key] = place
                    roster.known.add(epc)
    _ask_for_names(unknown, runs, faults)


def _ask_for_names(unknown: dict[tuple[str, str], int], runs: Runs, faults: FaultList) -> None:
    """One fault for the words of a column that name no tag."""
    for place in dict.fromkeys(place for place, _ in unknown):
        words = [word for of, word in unknown if of == place]
        line = unknown[place, words[0]]
        allowed = "EPCs, or a tag list in which these words are the label or the list of tags"
        wrong = f"no known tag is called so: {some(words)}"
        faults.add(Fault(runs.source, line, place, "", allowed, wrong=wrong))
