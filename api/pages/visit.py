"""Who visits a page: a session in a cookie, and forms that no other site can send."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from flask import Request, Response

from ..problems import ProblemError
from ..requests import client_by, refuse_foreign
from ..service import Service
from ..store.sessions import SESSION_S, client_of_session

PLAIN, SECURE = "strategist", "__Host-strategist"  # names of the cookie: without TLS, and behind it
SIGN_IN = "/sign-in"
SIGN_IN_BYTES = 4096  # of the body of who has no session yet
ROOMS = ("sign-in", "sign-out", "surveys", "batches", "answers")  # first parts of pages' paths
_OPEN_KEY = secrets.token_urlsafe(32)  # of forms where no tokens are asked for


@dataclass(frozen=True)
class Visitor:
    """Whose pages are shown; `form` goes into each form, and is known to this session alone."""

    client: str
    secret: str

    @property
    def form(self) -> str:
        return hmac.new(self.secret.encode(), b"form", hashlib.sha256).hexdigest()


def visitor_of(service: Service, request: Request) -> Visitor | None:
    """Who visits, or None: nobody who has signed in."""
    if service.open_to_all:
        refuse_foreign(request)
        return Visitor(client_by(service, "") or "", _OPEN_KEY)
    for name in (SECURE, PLAIN):
        secret = request.cookies.get(name)
        client = client_of_session(service.database, secret) if secret else None
        if secret and client is not None:
            return Visitor(client, secret)
    return None


def client_at_the_door(service: Service, path: str, headers: Mapping[str, str]) -> str | None:
    """The client that sends a body to a path, by its token or its session; None: nobody known."""
    if path == SIGN_IN:
        return ""
    if service.open_to_all or not is_page(path):
        return client_by(service, headers.get("AUTHORIZATION", ""))
    try:
        cookies = SimpleCookie(headers.get("COOKIE", ""))
    except CookieError:
        return None
    for name in (SECURE, PLAIN):
        if name in cookies:
            client = client_of_session(service.database, cookies[name].value)
            if client is not None:
                return client
    return None


def is_page(path: str) -> bool:
    """Whether a path is that of a page, or would be."""
    return path.lstrip("/").split("/")[0] in ("", *ROOMS)


def refuse_forged(request: Request, visitor: Visitor | None) -> None:
    """Raise ProblemError where a form was not sent by a page of ours, in this session."""
    origin, site = request.headers.get("Origin"), request.headers.get("Sec-Fetch-Site")
    foreign = origin is not None and urlsplit(origin).netloc != request.host
    if foreign or site not in (None, "same-origin") or (origin is None and site is None):
        raise ProblemError("foreign", "The form was not sent by a page of this server.")
    if visitor is not None:
        given = request.form.get("form", "")
        if not hmac.compare_digest(given.encode(), visitor.form.encode()):
            raise ProblemError("foreign", "The form is not of this session. Load the page again.")


def set_cookie(response: Response, request: Request, secret: str) -> None:
    """Keep a session in the browser: out of scripts' reach, sent to nobody else."""
    secure = urlsplit(request.headers.get("Origin", "")).scheme == "https"
    response.set_cookie(
        SECURE if secure else PLAIN,
        secret,
        max_age=int(SESSION_S),
        path="/",
        secure=secure,
        httponly=True,
        samesite="Strict",
    )


def drop_cookies(response: Response) -> None:
    for name, secure in ((SECURE, True), (PLAIN, False)):
        response.delete_cookie(name, path="/", secure=secure, httponly=True, samesite="Strict")
