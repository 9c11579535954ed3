"""What an endpoint is: one definition that routes, validates and is described by OpenAPI.

A new resource is a module in `api/views` that declares its endpoints with `endpoint`, and a line in
`api/app.py` that names the module.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from .store.ids import random_id

if TYPE_CHECKING:
    from .service import Service

JSON = "application/json"
Method = Literal["GET", "POST", "DELETE"]


@dataclass(frozen=True)
class Form:
    """Parts of a multipart body: name → required; those that may be given more than once are
    numbered from the second on (`log`, `log-2`)."""

    parts: Mapping[str, bool]
    repeated: tuple[str, ...] = ()

    @property
    def needed(self) -> tuple[str, ...]:
        return tuple(name for name, must in self.parts.items() if must)


@dataclass(frozen=True)
class Ask:
    """A request whose parts are known to be valid: who asks, for what, with what.

    `body` and `query` are objects of the endpoint's models; `files` the parts of a form by name.
    `new_id` gives the id of what is made, the same again when a request is sent again.
    """

    service: Service
    client: str
    path: Mapping[str, str] = field(default_factory=dict)
    query: Any = None
    body: Any = None
    files: Mapping[str, bytes] | None = None
    accept: str = JSON
    new_id: Callable[[str], str] = random_id
    gone: Callable[[], bool] = lambda: False  # whether nobody waits for the answer any more
    later: bool = False  # whether the client asks again for the answer, in place of waiting for it


@dataclass(frozen=True)
class Answer:
    """What a view gives: a document, or content of another type, whole or in parts."""

    document: Any = None
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)
    content: str | bytes | Iterator[bytes] | None = None
    media: str = JSON

    def payload(self) -> str | bytes | Iterator[bytes]:
        if self.content is not None or self.document is None:
            return b"" if self.content is None else self.content
        return json.dumps(self.document, ensure_ascii=False, allow_nan=False)


View = Callable[[Ask], Answer]


@dataclass(frozen=True)
class Endpoint:
    """A method on a path and all that is promised of it.

    `path` is in the form of OpenAPI; `gives` maps a status to the model (or schema) of its JSON;
    `media` lists what else than JSON can be had; `problems` the kinds beyond those that every
    endpoint has; `needs_token` False for what tells nothing of anybody's data; `later` is whether
    a client may ask for the answer later (`Prefer: respond-async`, RFC 7240).
    """

    method: Method
    path: str
    view: View
    summary: str
    tag: str
    gives: Mapping[int, Any]
    body: Any = None  # a model; bytes where the view parses by itself, and `schema` describes it
    schema: Any = None
    forms: tuple[Form, ...] = ()  # that a multipart body may have
    query: Any = None
    media: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    needs_token: bool = True
    later: bool = False
    name: str = ""


def endpoint(
    method: Method, path: str, *, gives: Mapping[int, Any], **more: Any
) -> Callable[[View], Endpoint]:
    """Declare a view as the endpoint for a method and path; its docstring is the summary."""

    def declare(view: View) -> Endpoint:
        summary = " ".join((view.__doc__ or "").split())
        tag = path.removeprefix("/v1").split("/")[1] if path.startswith("/v1/") else "service"
        name = f"{view.__module__.rsplit('.', 1)[-1]}.{view.__name__}"
        return Endpoint(method, path, view, summary, tag, gives, name=name, **more)

    return declare
