"""The keys of site.json: the list of them, and a first site.json for read points surveyed."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from strategist.errors import InputError
from strategist.survey.case import NO_ROW, ONE_ROW
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.json_text import NOTE, parse_json
from strategist.survey.key_words import KEY_WORDS
from strategist.survey.keys import SiteKeys, keys_of
from strategist.survey.order import figure, natural
from strategist.survey.policy import POLICY, Policy
from strategist.survey.records import Floats
from strategist.survey.rows import judge
from strategist.survey.site import SITE
from strategist.survey.tables import table_from_csv

_EXAMPLES = ("radio", "time", "limits")  # keys whose values nobody can guess
_ABOUT = (
    "A key that begins with // is a note and is not read: take the // away to use what follows. "
    "`strategist keys` explains every key. What is not said has its default."
)


def site_keys(names: Sequence[str] = ()) -> SiteKeys:
    """The keys of site.json; with `names` these alone, with those that they hold.

    Raises InputError for a name that is none.
    """
    every = keys_of(SITE.json_schema())
    known = [one.name for one in every]
    for name in names:
        if name not in known:
            todo = f"Give a key of the reference{nearest_hint(name, known)}."
            raise InputError.one("site.json", name, todo, wrong=f'there is no key "{name}"')
    within = tuple(f"{name}." for name in names)
    found = (one for one in every if one.name in names or one.name.startswith(within))
    return SiteKeys(tuple(found) if names else every)


def starter_site(reads: bytes | Path, source: str = "reads.csv") -> str:
    """The text of a first site.json for the read points of a reads.csv, with notes.

    Their levels are those that the reads name. What would only repeat an assumption about the
    reader is a note: it stays one until the planner has looked it up. Raises InputError with the
    faults of the file.
    """
    faults = FaultList()
    rows = judge(table_from_csv(reads, source, "reads"), faults)
    faults.raise_any()
    found = {
        name: np.unique(of.numbers["power_dbm"])
        for name, of in sorted(rows.by_read_point().items(), key=lambda one: natural(one[0]))
    }
    if not found:
        raise InputError.one(source, "", ONE_ROW, wrong=NO_ROW)
    return _text(found)


def unmeasured_site(levels_dbm: Mapping[str, Sequence[float]]) -> str:
    """The text of a first site.json for read points (name → levels to survey, dBm) of which nothing
    was measured yet. Raises InputError where a name or a level is not allowed."""
    text = _text({name: np.unique(levels) for name, levels in levels_dbm.items()})
    parse_json(text.encode(), SITE, "site.json")
    return text


def _text(found: Mapping[str, Floats]) -> str:
    points = []
    for number, (name, levels) in enumerate(found.items()):
        lines = _point(levels, noted=number == 0)
        points.append(f"  {_json(name)}: {{\n" + ",\n".join(f"   {one}" for one in lines) + "\n  }")
    return "\n".join(
        [
            "{",
            f' "{NOTE}": {_json(_ABOUT)},',
            ' "site": "",',
            ' "read_points": {',
            ",\n".join(points),
            " }",
            "}",
            "",
        ]
    )


def _point(levels: Floats, *, noted: bool) -> Iterator[str]:
    """The members of a read point's object, a line each."""
    plain: dict[str, Any] = POLICY.dump_python(Policy(), mode="json")
    assumed = Policy().reader.assumed()
    values = {
        "levels_dbm": [json.loads(figure(level)) for level in levels],
        "loss": plain["loss"],
        "stop_after": plain["stop_after"],
        f"{NOTE}reader": {name: plain["reader"][name] for name in assumed},
        **{f"{NOTE}{name}": KEY_WORDS[name].example for name in _EXAMPLES},
    }
    for name, value in values.items():
        if noted:
            yield from _notes(name.removeprefix(NOTE), assumed)
        yield f"{_json(name)}: {_json(value)}"


def _notes(name: str, assumed: Sequence[str]) -> Iterator[str]:
    """The members that explain a key."""
    told = [f"reader.{one}" for one in assumed] if name == "reader" else [name]
    for one in told:
        words = KEY_WORDS[one]
        counted = words.unit in ("levels", "masks", "tags", "bits")  # as the words say
        unit = f" ({words.unit})" if words.unit and not counted else ""
        example = " The values here are examples." if name in _EXAMPLES else ""
        text = f"{words.means[0].upper()}{words.means[1:]}{unit}. Set it {words.when}.{example}"
        yield f"{_json(f'{NOTE} {one}')}: {_json(text)}"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)
