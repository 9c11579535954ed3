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
    Asked(
        "plan within less than nothing",
        "POST",
        "/v1/plans",
        GIVEN | {"within": -1},
        detail="body, within: -1 is too small. Give a number from 0 to 1,000,000,000, or null.",
        pointer="/within",
    ),
    Asked(
        "plan of an unknown key",
        "POST",
        "/v1/plans",
        GIVEN | {"minutes": 2},
        detail=(
            'body, minutes: unknown key "minutes". Known keys: survey, read_point, label, within, '
            'minutes_a_pass, seconds_a_level, options (nearest: "minutes_a_pass").'
        ),
        pointer="/minutes",
    ),
    Asked(
        "first plan without a policy",
        "POST",
        "/v1/first-plans",
        {"read_point": "dock"},
        detail=(
            "body, policy is missing. Give an object with keys such as levels_dbm, unlisted, loss."
        ),
        pointer="/policy",
    ),
    Asked(
        "first plan without levels",
        "POST",
        "/v1/first-plans",
        {"read_point": "dock", "policy": {}},
        detail="body, policy.levels_dbm is missing. Give the levels to choose from.",
        pointer="/policy/levels_dbm",
    ),
    Asked(
        "budget of less than nothing",
        "POST",
        "/v1/site-plans",
        {"survey": "SURVEY", "budget": -1},
        detail="body, budget: -1 is too small. Give a number of 0 or more, or null.",
        pointer="/budget",
    ),
    Asked(
        "survey of an option that is none",
        "POST",
        "/v1/site-plans",
        {"survey": "SURVEY", "option_surveys": {"screen": NONE_SUCH}},
        detail=(
            "body, option_surveys.screen: you have no survey "
            "su_00000000000000000000000000000000. Give an id that /v1/surveys lists."
        ),
        pointer="/option_surveys/screen",
    ),
    Asked(
        "unknown view",
        "POST",
        "/v1/trade-offs",
        GIVEN | {"view": "all"},
        detail='body, view: "all" is not valid. Give one of counts, techniques, changes, or null.',
        pointer="/view",
    ),
    Asked(
        "entry that is none",
        "POST",
        "/v1/comparisons",
        GIVEN | {"entries": [{"name": "today"}]},
        detail=(
            "body, entries.0: one of strategy, strategy_id and loss says what an entry is. Give "
            "just one."
        ),
        pointer="/entries/0",
    ),
    Asked(
        "unknown kind of score",
        "POST",
        "/v1/comparisons",
        GIVEN | {"entries": [{"name": "a", "strategy": STRATEGY | {"score": {"kind": "mean"}}}]},
        detail=(
            'body, entries.0.strategy.score.kind: "mean" is not valid. Give one of difference, '
            "nth, peak."
        ),
        pointer="/entries/0/strategy/score/kind",
    ),
    Asked(
        "confidence in per cent",
        "GET",
        "/v1/acceptance-plan?miss_rate_max=0.05&confidence=95",
        detail="query, confidence: 95 is too large. Give a number from 0.5 to 0.999999.",
    ),
    Asked(
        "no batch",
        "POST",
        "/v1/cross-reads",
        {},
        detail="body, batch is missing. Give a text such as ba_0123456789abcdef0123456789abcdef.",
        pointer="/batch",
    ),
    Asked(
        "option without a case",
        "POST",
        "/v1/surveys",
        {
            "site": {"read_points": {"gate": {"options": {"screen": {}}}}},
            "reads": [],
            "roster": [{"read_point": "gate", "pass_id": "p1", "epc": "AA", "role": "wanted"}],
        },
        detail=(
            "survey, site.read_points.gate.options.screen.case is missing. Give a text of 1 to "
            "200 characters."
        ),
        pointer="/site/read_points/gate/options/screen/case",
    ),
    Asked(
        "unknown part",
        "POST",
        "/v1/surveys",
        b'--x\r\nContent-Disposition: form-data; name="logs"; filename="a"\r\n\r\n1\r\n--x--\r\n',
        headers={"Content-Type": "multipart/form-data; boundary=x"},
        detail=(
            'form, logs: unknown part "logs". Known parts: reads.csv, roster.csv, site.json, '
            "tried.csv, passes.csv; or log, run_sheet, tags, mapping.\n"
            'form, reads.csv: the part "reads.csv" is missing. Send the parts reads.csv, '
            "roster.csv, site.json.\n"
            'form, roster.csv: the part "roster.csv" is missing. Send the parts reads.csv, '
            "roster.csv, site.json.\n"
            'form, site.json: the part "site.json" is missing. Send the parts reads.csv, '
            "roster.csv, site.json."
        ),
    ),
)
