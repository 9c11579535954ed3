"""Signing in: with a token, or once with the link that the server printed; and out again."""

from __future__ import annotations

from flask import Response, request

from ..problems import ProblemError
from ..service import Service
from ..store.sessions import close_session, open_session
from ..store.tokens import add_token, client_of, digest_of_token, list_clients, newest_token
from .render import render
from .visit import SIGN_IN_BYTES, drop_cookies, refuse_forged, set_cookie
from .visiting import Visit, to

_FIRST = "planner"  # the client of a store that has none yet


def show(service: Service) -> Response:
    """The page: a field for the token, or, with the link, the clients to choose from."""
    if service.open_to_all:
        return to("/")
    link = request.args.get("link", "")
    back = _own_path(request.args.get("next", ""))
    if not service.link.fits(link):
        return render("sign-in.html", None, link="", clients=(), next=back, stale=bool(link))
    names = [name for name, _ in list_clients(service.database)] or [_FIRST]
    return render("sign-in.html", None, link=link, clients=names, next=back, stale=False)


def take(service: Service) -> Response:
    """Open a session, where the token or the link is good."""
    request.max_content_length = SIGN_IN_BYTES
    refuse_forged(request, None)
    token = _digest_by_link(service) if "link" in request.form else _digest_of_given(service)
    secret = None if token is None else open_session(service.database, token)
    if secret is None:
        back = _own_path(request.form.get("next", ""))
        page = {"link": "", "clients": (), "next": back, "stale": "link" in request.form}
        return render("sign-in.html", None, status=401, refused=True, **page)
    response = to(_own_path(request.form.get("next", "")) or "/")
    set_cookie(response, request, secret)
    return response


def leave(visit: Visit) -> Response:
    """End the session."""
    close_session(visit.ask.service.database, visit.visitor.secret)
    response = to("/sign-in")
    drop_cookies(response)
    return response


def _digest_of_given(service: Service) -> str | None:
    token = request.form.get("token", "").strip()
    known = client_of(service.database, token) if token else None
    return None if known is None else digest_of_token(token)


def _digest_by_link(service: Service) -> str | None:
    """The token of the client that was chosen; a store without clients gets its first one."""
    clients = [name for name, _ in list_clients(service.database)]
    name = request.form.get("client", "")
    if name not in (clients or [_FIRST]):
        raise ProblemError("not-found", "There is no such client.")
    if not service.link.use(request.form.get("link", "")):
        return None
    if not clients:
        return digest_of_token(add_token(service.database, _FIRST))
    return newest_token(service.database, name)


def _own_path(path: str) -> str:
    """Where to go next: a page of ours, or nowhere."""
    own = path.startswith("/") and not path.startswith(("//", "/\\"))
    return path if own and path.isprintable() and "\\" not in path else ""
