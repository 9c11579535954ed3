"""Answers in fewer lines: what holds nothing but plain values is one; what is null or empty is
left out."""

from __future__ import annotations

from typing import Any

from strategist.survey.answer import to_json

__all__ = ["brief"]

_MASK = ("bank", "pointer", "length", "pattern")
_CHANCE = ("true_rate", "acceptance_probability")
_ROWS = {  # by some of their keys
    ("events", "trials"): ("events", "trials", "rate", "low", "high", "effective_passes"),
    _CHANCE: _CHANCE,
}


def brief(answer: Any, *less: str) -> Any:
    """An answer as plain JSON, without some keys."""
    return _brief(to_json(answer), {*less})


def _brief(told: Any, less: set[str]) -> Any:
    if isinstance(told, list | tuple):
        return [_brief(one, less) for one in told]
    if isinstance(told, dict):
        return _of_keys(told, less)
    return float(f"{told:.8g}") if isinstance(told, float) else told


def _of_keys(told: dict[str, Any], less: set[str]) -> Any:
    keys = told.keys()
    if {"bank", "pattern"} <= keys:
        words = [f"{told['bank']} {told['pointer']}+{told['length']} {told['pattern']}"]
        return ", ".join([*words, *(f"{x} {told[x]}" for x in told if x not in _MASK and told[x])])
    if {"kind", "advice"} <= keys:
        return f"{told.get('severity')} {told['kind']}: {told['text']}"
    for of_kind, names in _ROWS.items():
        if set(of_kind) <= keys:
            return _brief([told.get(name) for name in names], less)
    some = {name: one for name, one in told.items() if name not in less and one not in (None, [])}
    found = {name: _brief(one, less) for name, one in some.items()}
    if all(isinstance(one, str | float | int) for one in found.values()):
        return [part for pair in found.items() for part in pair]
    return found
