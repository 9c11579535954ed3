"""Which column is what: as the mapping says, else by the header's words, else by what it holds."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from strategist.errors import Fault
from strategist.intake.mapping import MAPPING_FILE, TableMapping
from strategist.intake.sheet import Sheet
from strategist.intake.terms import ROLES, TERMS, Kind, Role, likeness
from strategist.intake.times import forms_of_times
from strategist.intake.values import number, plain_hex
from strategist.survey.faults import FaultList, nearest_hint

How = Literal["mapping", "name", "content"]
_SHOWN = 3  # sample values of a column
_MOST = 0.9  # of a sample's values must be what the role holds
_EPC_DIGITS = 16  # hex shorter than this is an EPC by its column's name only
FILES = {"log": "log", "run_sheet": "run sheet", "tags": "tag list"}


@dataclass(frozen=True)
class Column:
    """A column that was recognised, or was not (`role` None: not used)."""

    role: Role | None
    name: str
    place: int
    how: How | None
    sample: tuple[str, ...]


def recognise(sheet: Sheet, kind: Kind, mapping: TableMapping, faults: FaultList) -> list[Column]:
    """All columns of a sheet, in order; what cannot be known is asked for by a fault."""
    found: dict[int, tuple[Role, How]] = {}
    for role, name in mapping.columns.items():
        if role not in ROLES[kind]:
            todo = f"Known: {', '.join(ROLES[kind])}."
            wrong = f'a {FILES[kind]} has no column of the kind "{role}"'
            faults.add(Fault(MAPPING_FILE, None, f"{kind}.columns", role, todo, wrong=wrong))
        elif name is not None and name not in sheet.names:
            hint = nearest_hint(name, sheet.names)
            todo = f"Give one of its columns: {', '.join(sheet.names)}{hint}."
            wrong = f'{sheet.source} has no column "{name}"'
            column = f"{kind}.columns.{role}"
            faults.add(Fault(MAPPING_FILE, None, column, name, todo, wrong=wrong))
        elif name is not None:
            found[sheet.names.index(name)] = (role, "mapping")
    open_roles = [role for role in ROLES[kind] if role not in mapping.columns]
    _by_name(sheet, kind, open_roles, found, faults)
    if kind == "log":
        taken = {role for role, _ in found.values()}
        _by_content(sheet, [role for role in open_roles if role not in taken], found, faults)
    return list(_columns(sheet, found))


def _columns(sheet: Sheet, found: dict[int, tuple[Role, How]]) -> Iterator[Column]:
    for place, name in enumerate(sheet.names):
        role, how = found.get(place, (None, None))
        sample = tuple(dict.fromkeys(sheet.column(place)))[:_SHOWN]
        yield Column(role, name, place, how, sample)


def _by_name(
    sheet: Sheet,
    kind: Kind,
    roles: list[Role],
    found: dict[int, tuple[Role, How]],
    faults: FaultList,
) -> None:
    """The likeliest column of each role, the surest first; two that are as likely are asked for."""
    if not sheet.named:
        return
    alike = {
        (role, place): sure
        for role in roles
        for place, name in enumerate(sheet.names)
        if place not in found and (sure := likeness(name, role)) and _fits(sheet, place, role)
    }
    taken: set[Role] = set()
    for sure in (3, 2, 1):
        for role in roles:
            places = [
                p for (r, p), s in alike.items() if r == role and s == sure and p not in found
            ]
            if role in taken or not places:
                continue
            if len(places) > 1:
                first = _first_of_twins(sheet, places, role)
                if first is None:
                    faults.add(_which(sheet, kind, role, places))
                    taken.add(role)
                    found.update(dict.fromkeys(places[:1], (role, "name")))
                    continue
                places = [first]
            found[places[0]] = (role, "name")
            taken.add(role)


def _first_of_twins(sheet: Sheet, places: list[int], role: Role) -> int | None:
    """Of columns alike by name the one that LLRP puts first: first seen before last seen, UTC
    before uptime, peak before mean; None where that does not tell."""
    order = ("first", "peak", "max", "utc")
    if role not in ("time", "rssi"):
        return None
    for word in order:
        having = [place for place in places if word in sheet.names[place].lower()]
        if len(having) == 1:
            return having[0]
        places = having or places
    return None


def _by_content(
    sheet: Sheet, roles: list[Role], found: dict[int, tuple[Role, How]], faults: FaultList
) -> None:
    """Roles that a column's values alone can tell: EPC, RSSI, time and, without a header, power."""
    for role, holds in _CONTENT.items():
        if role not in roles or (role == "power" and sheet.named):
            continue
        places = [p for p in range(len(sheet.names)) if p not in found and holds(sheet.column(p))]
        if len(places) == 1:
            found[places[0]] = (role, "content")
        elif places and role in ("epc", "rssi"):
            faults.add(_which(sheet, "log", role, places))
            found[places[0]] = (role, "content")


def _which(sheet: Sheet, kind: Kind, role: Role, places: list[int]) -> Fault:
    shown = "; ".join(
        f'"{sheet.names[place]}" ({", ".join(list(dict.fromkeys(sheet.column(place)))[:2])})'
        for place in places[:5]
    )
    say = how_to_say(kind, "columns", {role: sheet.names[places[0]]})
    allowed = f"Say which in the mapping file, as {say}."
    return Fault(
        sheet.source,
        None,
        role,
        "",
        allowed,
        wrong=f"{TERMS[role].what} may be in {len(places)} columns: {shown}",
    )


def how_to_say(kind: str, key: str, value: object) -> str:
    """An entry of the mapping file, as it is to be written."""
    return json.dumps({kind: {key: value}}, ensure_ascii=False)


def _fits(sheet: Sheet, place: int, role: Role) -> bool:
    """Whether a column that is called like a role may hold it; an empty one may, except EPCs."""
    values = sheet.column(place)
    test = _CONTENT_OF_NAMED.get(role)
    return test is None or not values or test(values)


def _share(values: list[str], holds: Callable[[str], bool]) -> bool:
    once = list(dict.fromkeys(values))[:500]
    return bool(once) and sum(map(holds, once)) >= _MOST * len(once)


def _is_number(text: str) -> bool:
    return number(text) == number(text)


def _is_hex(text: str) -> bool:
    return text.lower().startswith("urn:epc") or plain_hex(text) is not None


def _is_long_hex(text: str) -> bool:
    if text.lower().startswith("urn:epc"):
        return True
    digits = plain_hex(text)
    is_stamp = len(text) < 24 and (":" in text or digits is None or digits.isdigit())
    return digits is not None and len(digits) >= _EPC_DIGITS and not is_stamp


def _is_level_of_signal(text: str) -> bool:
    return -120 <= number(text) < -5


def _are_times(values: list[str]) -> bool:
    return bool(forms_of_times(list(dict.fromkeys(values))[:500]))


def _change_slowly(values: list[str]) -> bool:
    """Numbers from 5 to 40 that stay the same over runs of rows, as a level does."""
    numbers = np.array([number(value) for value in values])
    if len(numbers) < 4 or not np.all((numbers >= 5) & (numbers <= 40)):
        return False
    changes = np.count_nonzero(np.diff(numbers))
    return bool(1 <= changes < 0.5 * len(numbers)) and len(np.unique(numbers)) <= 100


_CONTENT: dict[Role, Callable[[list[str]], bool]] = {
    "epc": lambda values: _share(values, _is_long_hex),
    "time": lambda values: not _share(values, _is_long_hex) and _are_times(values),
    "rssi": lambda values: _share(values, _is_level_of_signal),
    "power": _change_slowly,
}
_NUMBERS: tuple[Role, ...] = ("rssi", "power", "antenna", "reads", "rospec", "duration", "weight")
_CONTENT_OF_NAMED: dict[Role, Callable[[list[str]], bool]] = {
    **{role: lambda values: _share(values, _is_number) for role in _NUMBERS},
    "epc": lambda values: not _share(values, _is_short_number),
    "tid": lambda values: _share(values, _is_hex),
    "user": lambda values: _share(values, _is_hex),
}


def _is_short_number(text: str) -> bool:
    return _is_number(text) and len(text) < 8
