"""The keys of site.json in words, in lines of 80 columns."""

from __future__ import annotations

import json
from typing import Any

from strategist.report.lines import labelled, paragraph
from strategist.survey.keys import SiteKey, SiteKeys


def keys_text(found: SiteKeys, *, brief: bool = False) -> str:
    """What each key means, and all else that there is to say of it unless `brief`."""
    lines: list[str] = []
    for one in found.keys:
        lines += [
            "",
            one.name,
            *(_brief(one) if brief else [*paragraph(one.means), *_details(one)]),
        ]
    return "\n".join(lines[1:])


def _brief(one: SiteKey) -> list[str]:
    unit = f" ({one.unit})" if one.unit else ""
    default = "" if one.holds else f"; default: {default_of(one)}{unit}"
    return paragraph(one.means + default)


def _details(one: SiteKey) -> list[str]:
    last = one.name.rsplit(".", 1)[-1]
    return [
        *labelled("allowed", one.allowed),
        *labelled("default", default_of(one)),
        *labelled("set it", one.when),
        *labelled("example", f'"{last}": {_json(one.example)}'),
    ]


def default_of(one: SiteKey) -> str:
    """The default in words."""
    if one.required:
        return "none; it is required"
    if one.holds:
        return "none" if one.allowed.startswith("an object such as") else "those of its keys"
    return _json(one.default)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)
