"""Sessions: opened with a token or once with the link, ended by hand, by time or with the token."""

from __future__ import annotations

import pytest
from flask import Flask
from sqlalchemy import select, update

from api.app import create_app
from api.service import Service
from api.store.sessions import client_of_session, close_session, open_session
from api.store.tables import sessions
from api.store.tokens import add_token, digest_of_token, list_clients, remove_tokens
from tests.api.pages.browsing import HTML, OWN, Browser


def test_a_token_opens_a_session_whose_cookie_no_script_reads(app: Flask, service: Service) -> None:
    browser = Browser(app)
    assert browser.get("/").headers["Location"] == "/sign-in"
    taken = browser.post("/sign-in", token=add_token(service.database, "planner"))
    cookie = taken.headers["Set-Cookie"]
    assert cookie.startswith("strategist=") and "Secure" not in cookie
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie
    assert "planner" in browser.get("/").text


def test_behind_tls_the_cookie_is_sent_over_tls_alone(app: Flask, service: Service) -> None:
    """Only the browser knows how it reached the proxy, and says so in Origin."""
    token = add_token(service.database, "planner")
    taken = Browser(app).post("/sign-in", {"Origin": "https://localhost"}, token=token)
    cookie = taken.headers["Set-Cookie"]
    assert cookie.startswith("__Host-strategist=") and "Secure" in cookie


def test_a_session_is_kept_as_its_hash_alone(app: Flask, service: Service) -> None:
    browser = Browser(app).signed_in(add_token(service.database, "planner"))
    cookie = browser.flask.get_cookie("strategist")
    assert cookie is not None
    with service.database.read() as connection:
        (row,) = connection.execute(select(sessions)).all()
    assert cookie.value not in str(row) and browser.form not in str(row)
    assert row.digest == digest_of_token(cookie.value)


def test_who_signs_out_is_out_everywhere_with_that_cookie(app: Flask, service: Service) -> None:
    browser = Browser(app).signed_in(add_token(service.database, "planner"))
    cookie = browser.flask.get_cookie("strategist")
    assert cookie is not None
    assert browser.post("/sign-out").headers["Location"] == "/sign-in"
    assert browser.get("/").status_code == 303
    assert client_of_session(service.database, cookie.value) is None


def test_sessions_end_with_the_token_and_by_time(service: Service) -> None:
    database = service.database
    one = open_session(database, digest_of_token(add_token(database, "planner")))
    other = open_session(database, digest_of_token(add_token(database, "other")))
    late = open_session(database, digest_of_token(add_token(database, "late")))
    assert one is not None and other is not None and late is not None
    remove_tokens(database, "planner")
    assert client_of_session(database, one) is None
    assert client_of_session(database, other) == "other"
    with database.write() as connection:
        mine = sessions.c.digest == digest_of_token(late)
        connection.execute(update(sessions).where(mine).values(expires=1.0))
    assert client_of_session(database, late) is None
    close_session(database, late)
    assert open_session(database, digest_of_token("secret_nobody")) is None


def test_a_wrong_token_is_told_so_and_opens_nothing(app: Flask, service: Service) -> None:
    add_token(service.database, "planner")
    browser = Browser(app)
    refused = browser.post("/sign-in", token="secret_wrong", next="/surveys")
    assert refused.status_code == 401 and "Set-Cookie" not in refused.headers
    assert "not known here" in refused.text and 'value="/surveys"' in refused.text


@pytest.mark.parametrize("path", ["//evil.example/x", "https://evil.example", "/\\evil", "x"])
def test_after_sign_in_one_stays_on_this_server(app: Flask, service: Service, path: str) -> None:
    token = add_token(service.database, "planner")
    taken = Browser(app).post("/sign-in", token=token, next=path)
    assert taken.headers["Location"] == "/"


def test_the_link_signs_in_once(app: Flask, service: Service) -> None:
    """To look at it uses nothing up: what previews links does not sign in."""
    link = service.link.secret
    shown = Browser(app).get(f"/sign-in?link={link}")
    assert "Sign in as planner" in shown.text and list_clients(service.database) == []
    taken = Browser(app).post("/sign-in", link=link, client="planner")
    assert taken.status_code == 303 and list_clients(service.database) == [("planner", 1)]
    again = Browser(app).post("/sign-in", link=link, client="planner")
    assert again.status_code == 401 and "used already" in again.text
    assert "used already" in Browser(app).get(f"/sign-in?link={link}").text


def test_the_link_signs_in_clients_that_are_there(app: Flask, service: Service) -> None:
    for name in ("one", "two"):
        add_token(service.database, name)
    link = service.link.secret
    shown = Browser(app).get(f"/sign-in?link={link}").text
    assert "Sign in as one" in shown and "Sign in as two" in shown
    assert Browser(app).post("/sign-in", link=link, client="three").status_code == 404
    browser = Browser(app)
    assert browser.post("/sign-in", link=link, client="two").status_code == 303
    assert ">two</span>" in browser.get("/").text


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost", "Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_forms_of_other_sites_are_refused(
    app: Flask, service: Service, headers: dict[str, str]
) -> None:
    """Signed in or not, and even with what our forms carry."""
    token = add_token(service.database, "planner")
    assert Browser(app).post("/sign-in", headers, token=token).status_code == 403
    browser = Browser(app).signed_in(token)
    refused = browser.post("/sign-out", headers)
    assert refused.status_code == 403 and refused.mimetype == "text/html"
    assert browser.get("/").status_code == 200


def test_a_form_of_another_session_is_refused(app: Flask, service: Service) -> None:
    """What another session's forms carry, or nothing, is not ours."""
    browser = Browser(app).signed_in(add_token(service.database, "planner"))
    other = Browser(app).signed_in(add_token(service.database, "other"))
    for form in (other.form, "", "é"):
        assert browser.post("/sign-out", form=form).status_code == 403
    assert browser.get("/").status_code == 200


def test_a_link_on_another_site_is_asked_for_again_by_a_page_of_ours(
    app: Flask, service: Service
) -> None:
    """Browsers follow it without the cookie; what our page asks for has it."""
    foreign = HTML | {"Sec-Fetch-Site": "cross-site"}
    page = app.test_client().get("/surveys?q=%22%3E<x&y", headers=foreign)
    assert page.status_code == 200 and "Set-Cookie" not in page.headers
    assert 'content="0; url=/surveys?q=%22%3E%3Cx&amp;y"' in page.text
    own = HTML | {"Sec-Fetch-Site": "same-origin"}
    assert app.test_client().get("/surveys", headers=own).status_code == 303


def test_a_session_opens_no_endpoint_of_the_api(app: Flask, service: Service) -> None:
    """Programs have tokens; a cookie that a browser sends by itself is none."""
    browser = Browser(app).signed_in(add_token(service.database, "planner"))
    assert browser.flask.get("/v1/surveys").status_code == 401


def test_without_tokens_nobody_signs_in(service: Service) -> None:
    service.open_to_all = True
    app = create_app(service)
    browser = Browser(app)
    assert browser.get("/").status_code == 200
    assert browser.get("/sign-in").headers["Location"] == "/"
    foreign = app.test_client().get("/", headers=HTML | {"Host": "evil.example"})
    assert foreign.status_code == 403
    assert browser.post("/surveys", OWN).status_code == 403


def test_for_programs_the_root_is_as_it_was(app: Flask, service: Service) -> None:
    token = add_token(service.database, "planner")
    for headers in ({}, {"Accept": "*/*"}, {"Accept": "application/json"}):
        given = {"Authorization": f"Bearer {token}"} | headers
        refused = app.test_client().get("/", headers=given)
        assert (refused.status_code, refused.mimetype) == (404, "application/problem+json")
