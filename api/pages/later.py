"""Answers that take as long as a few solves: asked for, watched while they are worked out, shown.

The address of an answer is there as soon as it was asked for, so that it can be left and come back
to; until the answer is there, it shows how far that is.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any

from flask import Response

from ..endpoints import Answer
from .ask import at
from .visiting import Visit

_PATIENCE_S = 0.7  # most answers are there within it, and then nobody has to watch
_PAUSE_S = 0.03


def ask_for(visit: Visit, resource: str, body: Mapping[str, Any]) -> str:
    """The id of an answer, which may not be there yet. Raises ProblemError where it is refused."""
    made: str = visit.ask.post_later(at("v1", resource), body)["id"]
    end = time.monotonic() + _PATIENCE_S
    while look_at(visit, resource, made).status == 202 and time.monotonic() < end:
        time.sleep(_PAUSE_S)
    return made


def look_at(visit: Visit, resource: str, asked_id: str) -> Answer:
    """An answer, or (202) how far it is. Raises ProblemError where there is none."""
    return visit.ask.content(at("v1", resource, asked_id))


def watch(visit: Visit, pending: Mapping[str, Any], stop: str, **given: Any) -> Response:
    """The page of an answer that is not there yet; `stop` is where a form stops it.

    It is about a read point (`answer`, with the `tab` that it goes with), a `batch` or a `survey`.
    """
    given = {"answer": None, "batch": None, "survey": None, **given}
    return visit.show("working.html", asked=pending, stop=stop, refresh=2, **given)
