"""Faults in requests to the API."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

GIVEN = {"survey": "SURVEY", "read_point": "gate-1"}
STRATEGY = {"levels_dbm": [15]}
NONE_SUCH = f"su_{'0' * 32}"


@dataclass(frozen=True)
class Asked:
    """A request that is refused: its `detail`, and of each fault `detail` and `pointer`.

    SURVEY in it stands for the id of a survey.
    """

    name: str
    method: str
    path: str
    body: Any = None
    status: int = 422
    detail: str = ""
    pointer: str = ""
    headers: dict[str, str] = field(default_factory=dict)


ALL = (
    Asked(
        "unknown path",
        "GET",
        "/v1/nothing",
        status=404,
        detail="There is no such path; /docs lists those that there are.",
    ),
    Asked(
        "unknown id",
        "GET",
        f"/v1/surveys/{NONE_SUCH}",
        status=404,
        detail="There is no survey of this id.",
    ),
    Asked("no id", "GET", "/v1/surveys/first", status=404, detail="The path holds what is no id."),
    Asked("wrong method", "DELETE", "/v1/surveys", status=405, detail="Allowed: GET, HEAD, POST."),
    Asked(
        "no token",
        "GET",
        "/v1/surveys",
        status=401,
        headers={"Authorization": ""},
        detail="The request has no token, or one that is not valid.",
    ),
    Asked(
        "unknown parameter",
        "GET",
        "/v1/surveys?bar=1",
        detail='query, bar: unknown parameter "bar". Known parameters: limit, cursor.',
    ),
    Asked(
        "page of none",
        "GET",
        "/v1/surveys?limit=0",
        detail="query, limit: 0 is too small. Give a whole number from 1 to 100.",
    ),
    Asked(
        "page in words",
        "GET",
        "/v1/surveys?limit=ten",
        detail='query, limit: "ten" is not valid. Give a whole number from 1 to 100.',
    ),
    Asked(
        "parameter twice",
        "GET",
        "/v1/surveys?limit=1&limit=2",
        detail='query, limit: the parameter "limit" is given 2 times. Give it once.',
    ),
    Asked(
        "parameter without use",
        "GET",
        "/v1/site-keys?limit=1",
        detail='query, limit: unknown parameter "limit". Leave it out: this path takes none.',
    ),
    Asked(
        "no cursor",
        "GET",
        "/v1/surveys?cursor=there",
        detail=(
            'query, cursor: "there" is not valid. Give what the page before has under next, '
            "or leave it out."
        ),
    ),
    Asked(
        "no region",
        "GET",
        "/v1/lawful?antenna_gain_dbi=6",
        detail="query, region is missing. Give a text of 1 to 40 characters.",
    ),
    Asked(
        "unknown region",
        "GET",
        "/v1/lawful?region=etsi&antenna_gain_dbi=6",
        detail=(
            'query, region: "etsi" is not valid. Give one of fcc-902-928, etsi-865-868, '
            "etsi-915-921."
        ),
    ),
    Asked(
        "gain too high",
        "GET",
        "/v1/lawful?region=etsi-865-868&antenna_gain_dbi=60",
        detail="query, antenna_gain_dbi: 60 is too large. Give a number from -30 to 30.",
    ),
    Asked(
        "unknown read point of masks",
        "GET",
        "/v1/surveys/SURVEY/masks?read_point=door",
        detail=(
            'query, read_point: the survey has no read point "door". Known read points: gate-1.'
        ),
    ),
    Asked(
        "no JSON",
        "POST",
        "/v1/strategies",
        b"{",
        400,
        detail=(
            "body, line 1: no JSON at column 2: a key in double quotes is missing. Correct the "
            "text there."
        ),
    ),
    Asked(
        "key twice",
        "POST",
        "/v1/strategies",
        b'{"survey": "a", "survey": "b"}',
        400,
        detail='body: the key "survey" stands twice in one object. Give each key once.',
    ),
    Asked(
        "no UTF-8",
        "POST",
        "/v1/strategies",
        b'"\xff"',
        400,
        detail="body, line 1: byte 0xff is no UTF-8 text. Give text in UTF-8.",
    ),
    Asked(
        "other type",
        "POST",
        "/v1/strategies",
        b"x",
        415,
        headers={"Content-Type": "text/csv"},
        detail="Content-Type is text/csv; send application/json.",
    ),
    Asked(
        "a list for a body",
        "POST",
        "/v1/strategies",
        [],
        detail="body is a list. Give an object with the keys survey, read_point, label, options.",
    ),
    Asked(
        "no survey",
        "POST",
        "/v1/strategies",
        {"read_point": "gate-1"},
        detail="body, survey is missing. Give a text such as su_0123456789abcdef0123456789abcdef.",
        pointer="/survey",
    ),
    Asked(
        "unknown survey",
        "POST",
        "/v1/strategies",
        GIVEN | {"survey": NONE_SUCH},
        detail=(
            "body, survey: you have no survey su_00000000000000000000000000000000. Give an id "
            "that /v1/surveys lists."
        ),
        pointer="/survey",
    ),
    Asked(
        "no id of a survey",
        "POST",
        "/v1/strategies",
        GIVEN | {"survey": "first"},
        detail=(
            'body, survey: "first" is not valid. Give a text such as '
            "su_0123456789abcdef0123456789abcdef."
        ),
        pointer="/survey",
    ),
    Asked(
        "unknown read point",
        "POST",
        "/v1/strategies",
        GIVEN | {"read_point": "gate-9"},
        detail=(
            'body, read_point: the survey has no read point "gate-9". Known read points: gate-1.'
        ),
        pointer="/read_point",
    ),
    Asked(
        "unknown option",
        "POST",
        "/v1/strategies",
        GIVEN | {"options": {"time_limit": 5}},
        detail=(
            'body, options.time_limit: unknown key "time_limit". Known keys: time_limit_s, '
            'seed, method, unseen, sturdier (nearest: "time_limit_s").'
        ),
        pointer="/options/time_limit",
    ),
    Asked(
        "no time",
        "POST",
        "/v1/strategies",
        GIVEN | {"options": {"time_limit_s": 0}},
        detail="body, options.time_limit_s: 0 is too small. Give a number above 0 and at most 30.",
        pointer="/options/time_limit_s",
    ),
    Asked(
        "seed in half",
        "POST",
        "/v1/strategies",
        GIVEN | {"options": {"seed": 0.5}},
        detail="body, options.seed: 0.5 is not valid. Give a whole number from 0 to 2,147,483,647.",
        pointer="/options/seed",
    ),
    Asked(
        "label too long",
        "POST",
        "/v1/strategies",
        GIVEN | {"label": "x" * 201},
        detail=(
            "body, label: a text of 201 characters is too long. Give a text of at most 200 "
            "characters."
        ),
        pointer="/label",
    ),
    Asked(
        "settings without strategy",
        "POST",
        "/v1/settings",
        GIVEN | {"format": "gen2"},
        detail="body: strategy and strategy_id are both given, or neither. Give one of the two.",
    ),
    Asked(
        "unknown form",
        "POST",
        "/v1/settings",
        GIVEN | {"format": "xml", "strategy": STRATEGY},
        detail='body, format: "xml" is not valid. Give one of gen2, llrp.',
        pointer="/format",
    ),
    Asked(
        "table without use",
        "POST",
        "/v1/settings",
        GIVEN
        | {"format": "gen2", "strategy": STRATEGY, "power_table": [{"index": 1, "power_dbm": 15}]},
        detail="body, power_table is of no use here. Send it with format llrp, or leave it out.",
        pointer="/power_table",
    ),
    Asked(
        "empty table",
        "POST",
        "/v1/settings",
        GIVEN | {"format": "llrp", "strategy": STRATEGY, "power_table": []},
        detail=(
            "body, power_table is empty. Give a list of 1 to 1,000, each an object with the "
            "keys index, power_dbm, or null."
        ),
        pointer="/power_table",
    ),
    Asked(
        "strategy of none",
        "POST",
        "/v1/settings",
        GIVEN | {"format": "gen2", "strategy_id": f"st_{'0' * 32}"},
        detail=(
            "body, strategy_id: you have no strategy st_00000000000000000000000000000000 that "
            "is done. Give an id that /v1/strategies lists, or wait until it is done."
        ),
        pointer="/strategy_id",
    ),
    Asked(
        "batch of nothing",
        "POST",
        "/v1/batches",
        {"items": []},
        detail=(
            "body, items is empty. Give a list of 1 to 1,000, each an object with the keys "
            "survey, read_points."
        ),
        pointer="/items",
    ),
    Asked(
        "unknown batch",
        "POST",
        "/v1/templates",
        {"batch": f"ba_{'0' * 32}"},
        detail=(
            "body, batch: you have no batch ba_00000000000000000000000000000000. Give an id "
            "that /v1/batches lists."
        ),
        pointer="/batch",
    ),
    Asked(
        "blank in a key",
        "POST",
        "/v1/strategies",
        GIVEN,
        headers={"Idempotency-Key": "a b"},
        detail=(
            'header, Idempotency-Key: "a b" is not valid. Give a key of 1 to 200 visible '
            "ASCII characters."
        ),
    ),
    Asked(
        "site of a survey",
        "POST",
        "/v1/surveys",
        {"site": {"read_points": {"gate": {"stop_after": 0}}}, "reads": [], "roster": []},
        detail=(
            "survey, site.read_points.gate.stop_after: 0 is too small. Give a whole number from "
            "1 to 1,000,000 (tags).\n"
            "survey, roster is empty. Give a list of one or more, each an object with the keys "
            "read_point, pass_id, epc, role, tid, user, tag_type."
        ),
        pointer="/site/read_points/gate/stop_after",
    ),
    Asked(
        "rows of a survey",
        "POST",
        "/v1/surveys",
        {"site": {"read_points": {}}, "reads": [{"epc": 1}], "roster": [{}]},
        detail=(
            "roster, line 1, read_point is missing. Give text of 1 to 200 printable "
            "characters.\n"
            "roster, line 1, pass_id is missing. Give text of 1 to 200 printable characters.\n"
            "roster, line 1, epc is missing. Give hex of 1 to 62 whole bytes without prefix.\n"
            "roster, line 1, role is missing. Give wanted or stray.\n"
            "reads, read_point: the column is missing. Add it to the header and to each "
            "row.\n"
            "reads, pass_id: the column is missing. Add it to the header and to each row.\n"
            "reads, power_dbm: the column is missing. Add it to the header and to each row.\n"
            "reads, rssi_dbm: the column is missing. Add it to the header and to each row."
        ),
        pointer="/roster/0/read_point",
    ),
)
