"""Trade-offs at a read point: the curve that can be walked, each technique's worth, what-ifs."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from flask import Response
from sqlalchemy import RowMapping

from ..problems import KINDS, ProblemError
from ..store.jobs import find_at_point
from .answers import finished
from .ask import Asker, at
from .curve import best_at, curve_of, in_100_passes, ratios_of
from .visiting import Page, Visit, nothing, to

_PATH = ("v1", "trade-offs")
_KIND = "trade_offs"
_SECONDS = 25.0  # what a visitor waits for at most
_SHOWN = 10  # earlier questions
TECHNIQUES = ("power", "ladder", "cutoff", "masks", "antennas")
# Fields of the form: the key of site.json that each sets, and how its text is read.
_NUMBERS = {
    "mask_slots": ("reader.mask_slots", int),
    "ladder_steps_max": ("reader.ladder_steps_max", int),
    "missed": ("loss.missed", float),
    "stray": ("loss.stray", float),
    "guard_power": ("guard.power_db", float),
    "guard_rssi": ("guard.rssi_db", float),
}


def curve(visit: Visit, answer_id: str) -> Response:
    """The newest curve of this read point, or the offer to work it out."""
    found = finished(visit.ask, answer_id)
    for row in _earlier(visit, found):
        if row["view"] == "counts":
            return to(at("answers", answer_id, "trade-offs", row["id"]))
    return visit.show("trade-offs.html", answer=found, asked=None, problem=None)


def ask_curve(visit: Visit, answer_id: str) -> Response:
    found = finished(visit.ask, answer_id)
    try:
        made = _asked(visit.ask, found, {"view": "counts"})
    except ProblemError as error:
        return visit.show("trade-offs.html", answer=found, asked=None, **_trouble(error))
    return to(at("answers", answer_id, "trade-offs", made["id"]))


def walk(visit: Visit, answer_id: str, asked_id: str) -> Response:
    """The curve with one of its points picked: by number, or by the ratio of the weights."""
    found, asked = finished(visit.ask, answer_id), _answer(visit, answer_id, asked_id)
    frontier = asked["result"]
    points = frontier["points"]
    if not points:
        return visit.show("trade-offs.html", answer=found, asked=asked, picked=None, problem=None)
    weights = frontier["weights"]
    own = weights["missed"] / weights["stray"]
    ratio, drawn = _ratio(visit, own), in_100_passes(points)
    chosen = next((n for n, one in enumerate(points) if one["chosen"]), best_at(drawn, own))
    picked = chosen if ratio is None else best_at(drawn, ratio)
    if visit.text("point"):
        picked = visit.whole("point", chosen, 0, len(points) - 1)
    low, high = ratios_of(points, own)
    return visit.show(
        "trade-offs.html",
        answer=found,
        asked=asked,
        problem=None,
        points=points,
        drawn=drawn,
        curve=curve_of(drawn),
        picked=picked,
        chosen=chosen,
        own=own,
        ratio=own if ratio is None else ratio,
        slider={"low": low, "high": high, "at": round(math.log10(ratio or own), 2)},
    )


def _ratio(visit: Visit, own: float) -> float | None:
    """The ratio that the slider stands at (its power of ten), or None: it was not moved."""
    text = visit.text("weight")
    if not text:
        return None
    try:
        power = float(text)
    except ValueError:
        return own
    return 10.0**power if -6 <= power <= 6 else own


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
        techniques=TECHNIQUES[:-1],
        given=visit.request.form,
        earlier=[row for row in _earlier(visit, found) if row["view"] != "counts"],
        **_trouble(problem),
    )


def ask_what_if(visit: Visit, answer_id: str) -> Response:
    """One change or several, what planners ask most, or each technique alone and left out."""
    found = finished(visit.ask, answer_id)
    try:
        made = _asked(visit.ask, found, _question(visit))
    except ProblemError as error:
        return _what_if(visit, found, error)
    return to(at("answers", answer_id, "what-if", made["id"]))


def _question(visit: Visit) -> dict[str, Any]:
    view = visit.text("ask")
    if view in ("techniques", "usual"):
        name = "each technique" if view == "techniques" else "what planners ask most"
        return {"view": "techniques" if view == "techniques" else "changes", "label": name}
    sets: dict[str, Any] = {}
    for field, (key, read) in _NUMBERS.items():
        text = visit.text(field)
        if text:
            sets[key] = _number(field, text, read)
    off = [one for one in TECHNIQUES if visit.text(f"has_{one}") and not visit.text(f"allow_{one}")]
    if off:
        sets["allow"] = [one for one in TECHNIQUES if one not in off]
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
    found, asked = finished(visit.ask, answer_id), _answer(visit, answer_id, asked_id)
    result = asked["result"]
    if "points" in result:
        return to(at("answers", answer_id, "trade-offs", asked_id))
    kind = "techniques" if "variants" in result else "usual" if "questions" in result else "one"
    return visit.show("what-if-answer.html", answer=found, asked=asked, kind=kind)


def _asked(ask: Asker, found: Mapping[str, Any], question: Mapping[str, Any]) -> dict[str, Any]:
    where = {"survey": found["survey"], "read_point": found["read_point"]}
    options = {"time_limit_s": _SECONDS}
    made: dict[str, Any] = ask.post(at(*_PATH), {**where, **question, "options": options})
    return made


def _answer(visit: Visit, answer_id: str, asked_id: str) -> dict[str, Any]:
    """A stored answer of the same read point."""
    asked: dict[str, Any] = visit.ask.get(at(*_PATH, asked_id))
    found = finished(visit.ask, answer_id)
    if (asked["survey"], asked["read_point"]) != (found["survey"], found["read_point"]):
        raise nothing("such answer")
    return asked


def _earlier(visit: Visit, found: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The newest questions at the read point of an answer."""
    ask = visit.ask
    where = (found["survey"], found["read_point"])
    rows = find_at_point(ask.service.database, ask.client, _KIND, where, _SHOWN)
    return [_row(row) for row in rows]


def _row(row: RowMapping) -> dict[str, Any]:
    request = json.loads(row["request"])
    changed = request.get("set") or request.get("added_cable_loss_db")
    view = request.get("view") or ("changes" if changed else "counts")
    return {"id": row["id"], "label": row["label"] or view, "view": view}


def _trouble(problem: ProblemError | None) -> dict[str, Any]:
    if problem is None:
        return {"problem": None}
    return {"problem": {"kind": KINDS[problem.kind], "error": problem}}


PAGES = (
    Page("GET", "/answers/<answer_id>/trade-offs", curve),
    Page("POST", "/answers/<answer_id>/trade-offs", ask_curve),
    Page("GET", "/answers/<answer_id>/trade-offs/<asked_id>", walk),
    Page("GET", "/answers/<answer_id>/what-if", what_if),
    Page("POST", "/answers/<answer_id>/what-if", ask_what_if),
    Page("GET", "/answers/<answer_id>/what-if/<asked_id>", answered),
)
