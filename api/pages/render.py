"""Templates, and the files that go with them: all from this folder, nothing from the network."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from flask import Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined

import strategist
from strategist import __version__

from ..page import FRAMED_BY_NONE
from .ask import at
from .visit import Visitor

_HERE = Path(__file__).parent
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
_KINDS = {"css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8"}
_YEAR_S = 31_536_000
_TECHNIQUES = {
    "power": "power level",
    "ladder": "step ladder",
    "cutoff": "signal cutoff",
    "masks": "masks on tag data",
    "antennas": "choice of antennas",
}
assert "form-action 'none'" in FRAMED_BY_NONE  # which is why pages have a policy of their own


@cache
def static_files() -> Mapping[str, bytes]:
    """Name to content: the style of the report, ours over it, and the script."""
    found = {path.name: path.read_bytes() for path in (_HERE / "static").iterdir()}
    return {**found, "sheet.css": strategist.report_style().encode()}


@cache
def _stamp() -> str:
    """Changes with what the files hold, so that browsers may keep them for long."""
    total = hashlib.sha256()
    for _, content in sorted(static_files().items()):
        total.update(content)
    return total.hexdigest()[:12]


def static_file(name: str) -> Response | None:
    content = static_files().get(name)
    if content is None:
        return None
    response = Response(content, content_type=_KINDS.get(name.rsplit(".", 1)[-1], "text/plain"))
    response.headers["Cache-Control"] = f"public, max-age={_YEAR_S}, immutable"
    return response


def render(template: str, visitor: Visitor | None, *, status: int = 200, **given: Any) -> Response:
    """A page. Without a visitor it is one of those that anybody may see."""
    text = (
        environment()
        .get_template(template)
        .render(
            visitor=visitor,
            form="" if visitor is None else visitor.form,
            stamp=_stamp(),
            version=__version__,
            **given,
        )
    )
    response = Response(text, status, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["Referrer-Policy"] = "same-origin"  # else browsers hide the origin of a form
    response.headers["Cache-Control"] = "private, no-store"
    return response


@cache
def environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(at=at)
    for one in (figure, day, percent, as_json, technique):
        made.filters[one.__name__] = one
    return made


def warm_up() -> None:
    """Load what the first pages would wait for: templates, and what writes sheets."""
    static_files()
    for name in environment().list_templates():
        environment().get_template(name)
    _ = strategist.GivenResult, strategist.report_document, strategist.report_sections
    strategist.can_plot()


def figure(value: Any, digits: int = 6) -> str:
    """A number without needless digits, with a true minus; other values as they are."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return "–" if value is None else str(value)
    whole = float(value).is_integer() or abs(value) >= 10**digits
    text = f"{value:,.0f}" if whole else f"{value:.{digits}g}"
    return text.replace("-", "−")


def as_json(value: Any) -> str:
    """JSON as plain text, which is escaped where it goes (jinja's own is unfit for attributes)."""
    return json.dumps(value, ensure_ascii=False)


def technique(name: str) -> str:
    """What a technique is called."""
    return _TECHNIQUES[name]


def percent(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.3g} %"


def day(text: str) -> str:
    """A time of the API (RFC 3339), to the minute."""
    return datetime.fromisoformat(text).strftime("%Y-%m-%d %H:%M UTC")
