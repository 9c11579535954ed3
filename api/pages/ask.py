"""The API's own endpoints, asked in this process: their models, their rights, their problems."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote

from strategist import parse_json, refuse_values
from strategist.errors import InputError

from ..endpoints import JSON, Answer, Ask, Endpoint
from ..forms import Parts, files_of_form
from ..problems import ProblemError
from ..requests import adapter, ids_of, invalid, refuse_full_share
from ..service import Service

_PART = re.compile(r"{(\w+)}")


@dataclass(frozen=True)
class Asker:
    """Who asks, and what can be asked; `gone` says whether nobody waits any more."""

    service: Service
    client: str
    endpoints: tuple[Endpoint, ...]
    gone: Callable[[], bool] = lambda: False

    def get(self, path: str, **query: Any) -> Any:
        """The document at a path. Raises ProblemError as the API would."""
        return self._answer("GET", path, query=query).document

    def content(self, path: str, accept: str = JSON, **query: Any) -> Answer:
        """What is at a path in another form than JSON."""
        return self._answer("GET", path, query=query, accept=accept)

    def post(self, path: str, body: Any) -> Any:
        """The document of what is made, or worked out, at a path."""
        return self._answer("POST", path, body=_coded(body)).document

    def post_later(self, path: str, body: Any) -> Any:
        """The same for what is worked out meanwhile: how far it is, with its id."""
        return self._answer("POST", path, body=_coded(body), later=True).document

    def upload(self, path: str, files: Parts, **query: Any) -> Any:
        """The document of what is made of the files of a form."""
        return self._answer("POST", path, files=files, query=query).document

    def document(self, path: str, content: bytes, **query: Any) -> Any:
        """The document of what is made of a body that the endpoint reads by itself."""
        return self._answer("POST", path, body=content, query=query).document

    def delete(self, path: str, **query: Any) -> None:
        self._answer("DELETE", path, query=query)

    def _answer(
        self,
        method: str,
        path: str,
        *,
        query: Mapping[str, Any] | None = None,
        body: bytes | None = None,
        files: Parts | None = None,
        accept: str = JSON,
        later: bool = False,
    ) -> Answer:
        endpoint, parts = find(self.endpoints, method, path)
        if method == "POST":
            if self.service.stopping.is_set():
                raise ProblemError("stopping", "Send it again to the next server.")
            if {201, 202} & set(endpoint.gives):
                refuse_full_share(self.service, self.client)
        ask = Ask(
            self.service,
            self.client,
            ids_of(parts),
            None if endpoint.query is None else endpoint.query(**(query or {})),
            self._body(endpoint, body),
            accept=accept,
            gone=self.gone,
            later=later,
        )
        try:
            if files is not None:
                ask = replace(ask, files=files_of_form(endpoint.forms, files, "file"))
            return endpoint.view(ask)
        except InputError as error:
            raise invalid(error) from None

    def _body(self, endpoint: Endpoint, body: bytes | None) -> Any:
        if body is None or endpoint.body is bytes:
            return body

        def few_enough(given: Any) -> None:
            refuse_values(given, self.service.limits.request_values, "body")

        try:
            return parse_json(body, adapter(endpoint.body), "body", first=few_enough)
        except InputError as error:
            raise invalid(error) from None


def _coded(body: Any) -> bytes:
    try:
        return json.dumps(body, allow_nan=False).encode()
    except ValueError:
        raise ProblemError("invalid", "A number is not finite.") from None


def find(
    endpoints: Iterable[Endpoint], method: str, path: str
) -> tuple[Endpoint, Mapping[str, str]]:
    """The endpoint at a path, with the parts of the path that it names."""
    for one in endpoints:
        pattern = _PART.sub(r"(?P<\1>[^/]+)", one.path)
        if one.method == method and (match := re.fullmatch(pattern, path)):
            return one, match.groupdict()
    raise ProblemError("not-found", "There is no such thing.")


def at(*parts: str) -> str:
    """A path of the API or of a page; what clients name is quoted."""
    return "/" + "/".join(quote(part, safe="") for part in parts)
