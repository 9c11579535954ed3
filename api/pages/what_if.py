"""What if: the answer again with something changed, and what each technique is worth."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response

from ..problems import KINDS, ProblemError
from .answers import finished
from .ask import at
from .at_point import allowed_at, ask_at, earlier_at, left_on, shown_at, switches
from .visiting import Page, Visit, to

_SHOWN = 10  # earlier questions
# Fields of the form: the key of site.json that each sets, and how its text is read.
_NUMBERS = {
    "mask_slots": ("reader.mask_slots", int),
    "ladder_steps_max": ("reader.ladder_steps_max", int),
    "missed": ("loss.missed", float),
    "stray": ("loss.stray", float),
    "guard_power": ("guard.power_db", float),
    "guard_rssi": ("guard.rssi_db", float),
}


def what_if(visit: Visit, answer_id: str) -> Response:
    """What can be asked, and what was."""
    return _what_if(visit, finished(visit.ask, answer_id))


def _what_if(
    visit: Visit, found: Mapping[str, Any], problem: ProblemError | None = None
) -> Response:
    status = 200 if problem is None else KINDS[problem.kind].status
    return visit.show(
        "what-if.html",
        status=status,
        answer=found,
        techniques=switches(found, allowed_at(visit.ask, found)),
        given=visit.request.form,
        earlier=[row for row in earlier_at(visit.ask, found, _SHOWN) if row["view"] != "counts"],
        problem=None if problem is None else {"kind": KINDS[problem.kind], "error": problem},
    )


def ask_what_if(visit: Visit, answer_id: str) -> Response:
    """One change or several, what planners ask most, or each technique alone and left out."""
    found = finished(visit.ask, answer_id)
    try:
        made = ask_at(visit, found, _question(visit, allowed_at(visit.ask, found)))
    except ProblemError as error:
        return _what_if(visit, found, error)
    return to(at("answers", answer_id, "what-if", made))


def _question(visit: Visit, allowed: Sequence[str]) -> dict[str, Any]:
    view = visit.text("ask")
    if view in ("techniques", "usual"):
        name = "each technique" if view == "techniques" else "what planners ask most"
        return {"view": "techniques" if view == "techniques" else "changes", "label": name}
    sets: dict[str, Any] = {}
    for field, (key, read) in _NUMBERS.items():
        text = visit.text(field)
        if text:
            sets[key] = _number(field, text, read)
    on = left_on(visit, allowed)
    off = [one for one in allowed if one not in on]
    if off:
        sets["allow"] = on
    cable = _number("cable", visit.text("cable") or "0", float)
    if not sets and not cable:
        raise ProblemError(
            "invalid", "Nothing was changed: switch a technique off, or fill a field."
        )
    words = [f"without {one}" for one in off]
    words += [f"{key} {json.dumps(value)}" for key, value in sets.items() if key != "allow"]
    words += [f"cable {cable:+g} dB"] if cable else []
    asked: dict[str, Any] = {"view": "changes", "set": sets, "label": ", ".join(words)[:200]}
    return asked | ({"added_cable_loss_db": cable} if cable else {})


def _number(field: str, text: str, read: type[int] | type[float]) -> float:
    try:
        return read(text.replace("−", "-"))
    except ValueError:
        kind = "a whole number" if read is int else "a number"
        raise ProblemError("invalid", f"{field.replace('_', ' ')} is not {kind}.") from None


def answered(visit: Visit, answer_id: str, asked_id: str) -> Response:
    """What came of a question."""
    try:
        shown = shown_at(visit, answer_id, asked_id, "What if")
    except ProblemError as error:
        if error.kind == "not-found":
            raise
        return _what_if(visit, finished(visit.ask, answer_id), error)  # the worker refused it
    if isinstance(shown, Response):
        return shown
    found, asked = shown
    result = asked["result"]
    if "points" in result:
        return to(at("answers", answer_id, "trade-offs", asked_id))
    kind = "techniques" if "variants" in result else "usual" if "questions" in result else "one"
    return visit.show("what-if-answer.html", answer=found, asked=asked, kind=kind)


PAGES = (
    Page("GET", "/answers/<answer_id>/what-if", what_if),
    Page("POST", "/answers/<answer_id>/what-if", ask_what_if),
    Page("GET", "/answers/<answer_id>/what-if/<asked_id>", answered),
)
