"""Trade-offs at a read point: the curve that can be walked, with techniques switched on and off."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response

from ..problems import KINDS, ProblemError
from ..store.jobs import find_job
from .answers import finished
from .ask import Asker, at
from .at_point import (
    KIND,
    RESOURCE,
    allowed_at,
    ask_at,
    earlier_at,
    left_on,
    shown_at,
    switches,
)
from .curve import best_at, curve_of, follows, in_100_passes, losses_at, ratios_of, sturdiest
from .visiting import Page, Visit, to

_LOOKED_AT = 50  # earlier questions, among which a curve may be
_Row = Mapping[str, Any]


def curve(visit: Visit, answer_id: str) -> Response:
    """The newest curve of this read point, or the offer to work it out."""
    found = finished(visit.ask, answer_id)
    known = _curves(visit.ask, found)
    if () in known:
        return to(at("answers", answer_id, "trade-offs", known[()]["id"]))
    return visit.show("trade-offs.html", answer=found, asked=None, problem=None)


def ask_curve(visit: Visit, answer_id: str) -> Response:
    """The curve with the techniques that the form leaves on; one that is known is not worked out
    again."""
    found = finished(visit.ask, answer_id)
    allowed = allowed_at(visit.ask, found)
    on = left_on(visit, allowed)
    off = tuple(one for one in allowed if one not in on)
    known = _curves(visit.ask, found).get(off)
    try:
        made = known["id"] if known else ask_at(visit, found, _question(on, off))
    except ProblemError as error:
        return visit.show(
            "trade-offs.html",
            status=KINDS[error.kind].status,
            answer=found,
            asked=None,
            problem={"kind": KINDS[error.kind], "error": error},
        )
    power = _power(visit.text("weight"))
    return to(
        at("answers", answer_id, "trade-offs", made)
        + ("" if power is None else f"?weight={power:g}")
    )


def _question(on: Sequence[str], off: Sequence[str]) -> dict[str, Any]:
    if not off:
        return {"view": "counts"}
    words = f"trade-offs without {', '.join(off)}"
    return {"view": "counts", "set": {"allow": list(on)}, "label": words}


def _curves(ask: Asker, found: Mapping[str, Any]) -> dict[tuple[str, ...], _Row]:
    """The newest curve, there or to come, of each choice of techniques that are left out."""
    known: dict[tuple[str, ...], _Row] = {}
    allowed = allowed_at(ask, found)
    for row in earlier_at(ask, found, _LOOKED_AT):
        if row["view"] == "counts" and row["set"].keys() <= {"allow"} and not row["cable"]:
            on = row["set"].get("allow", allowed)
            known.setdefault(tuple(one for one in allowed if one not in on), row)
    return known


def walk(visit: Visit, answer_id: str, asked_id: str) -> Response:
    """The curve with one of its points picked: by number, or by the ratio of the weights."""
    shown = shown_at(visit, answer_id, asked_id, "Trade-offs")
    if isinstance(shown, Response):
        return shown
    found, asked = shown[0], {**shown[1], "result": in_100_passes(shown[1]["result"])}
    allowed = allowed_at(visit.ask, found)
    on = asked["request"]["set"].get("allow", allowed)
    off = [one for one in allowed if one not in on]
    given = {
        "answer": found,
        "asked": asked,
        "problem": None,
        "switches": switches(found, allowed),
        "on": on,
        "off": off,
    }
    if not asked["result"]["points"]:
        return visit.show("trade-offs.html", **given, slider=None)
    whole = _whole(visit.ask, found) if off else None
    return visit.show("trade-offs.html", **given, **_walked(visit, asked["result"], whole))


def _whole(ask: Asker, found: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The frontier with all techniques, where it is known."""
    row = _curves(ask, found).get(())
    job = find_job(ask.service.database, ask.client, KIND, row["id"]) if row else None
    if job is None or job["result"] is None:
        return None
    result = in_100_passes(json.loads(job["result"]))
    return result if result["points"] else None


def _walked(
    visit: Visit, frontier: Mapping[str, Any], whole: Mapping[str, Any] | None
) -> dict[str, Any]:
    """What the template draws: the point that is picked, losses by the ratio that is looked at,
    and beside them the best that all techniques together have by it."""
    points, weights = frontier["points"], frontier["weights"]
    own = weights["missed"] / weights["stray"]
    power = _power(visit.text("weight"))
    ratio = own if power is None else 10.0**power
    losses = losses_at(points, weights, ratio)
    chosen = next((n for n, one in enumerate(points) if one["chosen"]), best_at(points, own))
    picked = chosen if power is None else best_at(points, ratio)
    if visit.text("point"):
        picked = visit.whole("point", picked, 0, len(points) - 1)
    beside = whole["points"] if whole else []
    best = best_at(beside, ratio) if beside else None
    low, high = ratios_of([*points, *beside], own)
    at_ratio = "" if power is None else f"weight={power:g}&"
    return {
        "points": points,
        "losses": losses,
        "curve": curve_of(points, losses, beside),
        "picked": picked,
        "chosen": chosen,
        "sturdiest": sturdiest(losses),
        "follows": follows(points),
        "own": own,
        "ratio": ratio,
        "pick": lambda number: f"?{at_ratio}point={number}",
        "silence": weights["stray"] * ratio * frontier["presented"]["wanted"],
        "slider": {"low": low, "high": high, "at": round(math.log10(ratio), 2)},
        "with_all": None if best is None else losses_at(beside, weights, ratio)[best],
    }


def _power(text: str) -> float | None:
    """Where the slider stands, a power of ten; None: it was not moved, or what is given is none."""
    try:
        power = float(text)
    except ValueError:
        return None
    return power if -6 <= power <= 6 else None


def remove(visit: Visit, answer_id: str, asked_id: str) -> Response:
    """Delete an answer, or stop working it out."""
    visit.ask.delete(at("v1", RESOURCE, asked_id))
    return to(at("answers", answer_id))


PAGES = (
    Page("GET", "/answers/<answer_id>/trade-offs", curve),
    Page("POST", "/answers/<answer_id>/trade-offs", ask_curve),
    Page("GET", "/answers/<answer_id>/trade-offs/<asked_id>", walk),
    Page("POST", "/answers/<answer_id>/trade-offs/<asked_id>/delete", remove),
)
