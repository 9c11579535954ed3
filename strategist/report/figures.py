"""The one way in which a number or a text of a document gets onto a page."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

from markupsafe import Markup, escape

from strategist.survey.order import figure
from strategist.trust.intervals import percent, percent_down, percent_up

_MINUS = "\u2212"


def _up(number: float) -> float:
    """Rounded up to three figures: a worst case must not look better than it is."""
    if number <= 0:
        return 0.0
    digits = 2 - math.floor(math.log10(number))
    return math.ceil(number * 10.0**digits - 1e-6) / 10.0**digits


FORMS: dict[str, Callable[[float], str]] = {
    "plain": lambda number: figure(number).replace("-", _MINUS),
    "short": lambda number: f"{number:.3g}".replace("-", _MINUS),
    "percent": percent,
    "percent_down": percent_down,
    "percent_up": percent_up,
    "seconds_up": lambda number: f"{_up(number):.10g}",
    "whole_percent": lambda number: f"{100 * number:.0f} %",
}


def resolve(document: Any, pointer: str) -> Any:
    """The value at a JSON pointer (RFC 6901); raises LookupError where there is none."""
    for part in pointer.split("/")[1:]:
        key = part.replace("~1", "/").replace("~0", "~")
        document = document[int(key)] if isinstance(document, list) else document[key]
    return document


class Figures:
    """Prints values of one document by their JSON pointers, and keeps the pointers beside them.

    Each is escaped by hand: `Markup.format` takes ten times as long, and a page has ten thousand.
    """

    def __init__(self, document: Any) -> None:
        self._document = document

    def value(self, pointer: str) -> Any:
        """The value itself, for choosing what to print."""
        return resolve(self._document, pointer)

    def number(self, pointer: str, form: str = "plain") -> Markup:
        """A number in one of the forms, with its exact value; "not known" where it is null."""
        value = self.value(pointer)
        shown = "not known" if value is None else FORMS[form](value)
        exact = escape(json.dumps(value))
        place = escape(pointer)
        return Markup(f'<data value="{exact}" data-path="{place}">{escape(shown)}</data>')

    def text(self, pointer: str, element: str = "span") -> Markup:
        """A text as it stands in the document."""
        shown = escape(str(self.value(pointer)))
        return Markup(f'<{element} data-path="{escape(pointer)}">{shown}</{element}>')

    def count(self, pointer: str) -> Markup:
        """How many items a list has."""
        exact = len(self.value(pointer))
        return Markup('<data value="{0}" data-path="{1}">{0}</data>').format(exact, pointer)
