"""What a page is: its address, its view, and what the view is given."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from flask import Request, Response

from ..limits import Limits
from ..problems import ProblemError
from .ask import Asker
from .render import render
from .visit import Visitor


@dataclass(frozen=True)
class Visit:
    """A request for a page by somebody who has signed in."""

    visitor: Visitor
    ask: Asker
    request: Request

    def show(self, template: str, *, status: int = 200, **given: Any) -> Response:
        return render(template, self.visitor, status=status, **given)

    def text(self, name: str) -> str:
        """A field of the form, or of the query; empty where it was not given."""
        given = self.request.form if self.request.method == "POST" else self.request.args
        return given.get(name, "").strip()

    def whole(self, name: str, default: int, low: int, high: int) -> int:
        """A whole number of the query, within bounds; what is none is the default."""
        text = self.text(name)
        found = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else default
        return max(low, min(high, found))

    def numbers(self, **kinds: type[int] | type[float]) -> dict[str, float]:
        """Fields of the form that hold a number, each of its kind; without those left empty. Raises
        ProblemError at one that is none."""
        found: dict[str, float] = {}
        for name, kind in kinds.items():
            text = self.text(name)
            try:
                found |= {name: kind(text)} if text else {}
            except ValueError:
                detail = f"{name.replace('_', ' ').capitalize()} is a number, or empty."
                raise ProblemError("invalid", detail) from None
        return found


View = Callable[..., Response]


@dataclass(frozen=True)
class Page:
    """A page at an address (a rule of Flask's); a POST with `files` may be long."""

    method: Literal["GET", "POST"]
    rule: str
    view: View
    files: bool = False

    @property
    def name(self) -> str:
        """As logs and counts call it."""
        return f"pages.{self.view.__module__.rsplit('.', 1)[-1]}.{self.view.__name__}"

    def most(self, limits: Limits) -> int:
        """Bytes that a body may have."""
        return limits.upload_bytes if self.files else limits.request_bytes


def to(path: str) -> Response:
    """Go on to a page, which is then asked for with GET."""
    return Response("", 303, headers={"Location": path})


def download(content: bytes | str, media: str, name: str) -> Response:
    """A file for the disk; its name is ours, or made of plain characters."""
    plain = "".join(
        one if one.isascii() and (one.isalnum() or one in "._-") else "_" for one in name
    )
    response = Response(content, content_type=media)
    response.headers["Content-Disposition"] = f'attachment; filename="{plain[:100]}"'
    response.headers["Cache-Control"] = "private, no-store"
    return response


def nothing(what: str) -> ProblemError:
    """Not there, or another client's: nobody learns which."""
    return ProblemError("not-found", f"There is no {what} here.")
