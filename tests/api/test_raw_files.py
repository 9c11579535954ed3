"""Raw files at the API: the case that the library makes of them, kept like any other survey."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace
from typing import Any

import pytest
from werkzeug.test import TestResponse

import strategist
from api.raw_files import import_raw
from api.store.surveys import add_survey
from strategist.errors import InputError
from tests.api.given import Client

EPC = "3034257BF400B7800004CB"
LOG = "time,epc,rssi,power,pass\n" + "".join(
    f"2026-03-09T08:00:{second:02d}Z,{EPC}{tag:02d},{-50 - tag},{power},p{number}\n"
    for second, (number, power, tag) in enumerate(
        (number, power, tag) for number in (1, 2) for power in (15, 16) for tag in (1, 2)
    )
)
TAGS = f"epc,role\n{EPC}01,wanted\n{EPC}02,stray\n"
NAMED = '{"read_point": "gate"}'


def send(client: Client, *parts: tuple[str, str | bytes], **headers: str) -> TestResponse:
    data: dict[str, list[Any]] = {}
    for name, content in parts:
        packed = content.encode() if isinstance(content, str) else content
        data.setdefault(name, []).append((io.BytesIO(packed), "any.name"))
    return client.flask.post("/v1/surveys", data=data, headers=client.headers(**headers))


def sent(client: Client, *parts: tuple[str, str | bytes], **headers: str) -> dict[str, Any]:
    made = send(client, *parts, **headers)
    assert made.status_code == 201, made.text
    found: dict[str, Any] = made.json
    return found


def test_the_case_is_that_of_the_library_and_kept(client: Client) -> None:
    made = sent(client, ("log", LOG), ("tags", TAGS), ("mapping", NAMED))
    mapping = replace(strategist.ImportMapping(), read_point="gate")
    known = strategist.import_log(
        {"log": LOG.encode()}, tags={"tags": TAGS.encode()}, mapping=mapping
    )
    assert made["imported"] == json.loads(json.dumps(known.to_json()))
    assert made["files"] == sorted([*known.files, "import.json"])
    for name, text in known.files.items():
        back = client.get(f"/v1/surveys/{made['id']}/files/{name}")
        assert back.text == text
    assert client.get(f"/v1/surveys/{made['id']}").json == made
    case = strategist.read_case_files(
        {name: text.encode() for name, text in known.files.items() if name != "mapping.json"}
    )
    assert made["read_points"] == strategist.check(case).to_json()["read_points"]
    masks = client.get(f"/v1/surveys/{made['id']}/masks")
    assert masks.status_code == 200, "it can be asked about like any other"


def test_its_mapping_reads_the_next_log_alike(client: Client) -> None:
    made = sent(client, ("log", LOG), ("tags", TAGS), ("mapping", NAMED))
    mapping = client.get(f"/v1/surveys/{made['id']}/files/mapping.json").data
    again = sent(client, ("log", LOG), ("tags", TAGS), ("mapping", mapping))
    assert again["imported"]["mapping"] == made["imported"]["mapping"]
    assert again["read_points"] == made["read_points"]


def test_several_logs_are_one(client: Client) -> None:
    head, *rows = LOG.splitlines(keepends=True)
    halves = [("log", head + "".join(part)) for part in (rows[:4], rows[4:])]
    made = sent(client, *halves, ("tags", TAGS), ("mapping", NAMED))
    whole = sent(client, ("log", LOG), ("tags", TAGS), ("mapping", NAMED))
    assert made["read_points"] == whole["read_points"]
    assert {column["file"] for column in made["imported"]["columns"]} >= {"tags"}


def bomb() -> bytes:
    """A workbook whose sheet unpacks to half a gigabyte."""
    found = io.BytesIO()
    with zipfile.ZipFile(found, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
        packed.writestr("[Content_Types].xml", "<Types/>")
        packed.writestr("xl/workbook.xml", "<workbook/>")
        with packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            for _ in range(500):
                sheet.write(b"0" * 2**20)
    return found.getvalue()


@pytest.mark.parametrize(
    ("parts", "status", "told"),
    [
        ([("log", "a,b\n1,2\n"), ("tags", TAGS)], 422, "no column that is recognised"),
        ([("log", LOG), ("mapping", '{"log": {"columns": {"epc": 1}}}')], 422, "mapping"),
        ([("log", LOG), ("mapping", "{")], 400, "mapping"),
        ([("log", LOG), ("tags", TAGS), ("tags", TAGS)], 422, "2 times"),
        ([("log", LOG), ("reads.csv", "x")], 422, "unknown part"),
        ([("tags", TAGS)], 422, '"log" is missing'),
        ([("log", b"\x1f\x8b junk")], 422, "gzip"),
        ([("log", bomb())], 422, "log"),
        ([("log", "epc,rssi\n" + "x," * 200_000)], 422, "log"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_what_cannot_be_read_is_refused_and_leaves_nothing(
    client: Client, parts: list[tuple[str, str | bytes]], status: int, told: str
) -> None:
    refused = send(client, *parts)
    assert refused.status_code == status, refused.text
    said = refused.json["detail"] + json.dumps(refused.json.get("faults", []))
    assert told in said.replace('\\"', '"')
    assert client.get("/v1/surveys").json["items"] == []


def test_sent_again_it_is_the_same(client: Client) -> None:
    parts = (("log", LOG), ("tags", TAGS), ("mapping", NAMED))
    made = sent(client, *parts, Idempotency_Key="k")
    assert sent(client, *parts, Idempotency_Key="k")["id"] == made["id"]
    assert len(client.get("/v1/surveys").json["items"]) == 1


def test_a_worker_that_ended_half_way_is_followed_by_another(client: Client, service: Any) -> None:
    """The case is in the place of the raw files; nobody was told yet."""
    raw = {"log": LOG.encode(), "tags": TAGS.encode(), "mapping": NAMED.encode()}
    row = add_survey(service.database, "su_" + 32 * "1", "planner", label="", files=raw)
    once = import_raw(service.database, row["id"], strategist.Bounds())
    assert import_raw(service.database, row["id"], strategist.Bounds()) == once
    with pytest.raises(InputError, match="was deleted meanwhile"):
        import_raw(service.database, "su_" + 32 * "2", strategist.Bounds())
