"""Bodies that a client could send within the limits to make the server work, and no more than that.

`size` scales them: 1 fills the limits of a body, less makes them as much smaller.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

__all__ = ["Attack", "attacks", "wide_survey"]

FORM_BOUNDARY = "strategist-bench"
FORM = f"multipart/form-data; boundary={FORM_BOUNDARY}"
_BODY = 1_000_000  # bytes of a request, just within its limit
_UPLOAD = 64_000_000  # of an upload
_POLICY = {"levels_dbm": [15, 16]}
_ROWS = "gate-1,p1,15,30AA,-50\n"


@dataclass(frozen=True)
class Attack:
    """A body: its name, where it is posted, its type, and how it is made."""

    name: str
    path: str
    make: Callable[[], bytes]
    kind: str = "application/json"

    @property
    def is_survey(self) -> bool:
        return self.path == "/v1/surveys"


def attacks(survey: str, size: float = 1.0) -> Iterator[Attack]:
    """Each attack; `survey` is the id of one whose read points are gate-1, gate-2, …"""
    body, upload = int(_BODY * size), int(_UPLOAD * size)
    at = f'"survey":"{survey}","read_point":"gate-1"'
    yield from _of_requests(survey, at, body)
    yield from _of_surveys(upload, size)


def _of_requests(survey: str, at: str, body: int) -> Iterator[Attack]:
    asked, given = "/v1/strategies", "/v1/settings"

    def strategy(key: str, item: str) -> bytes:
        items = ",".join([item] * (body // (len(item) + 1)))
        rest = "" if key == "levels_dbm" else '"levels_dbm":[15],'
        return f'{{{at},"strategy":{{{rest}"{key}":[{items}]}}}}'.encode()

    def keys(key: Callable[[int], str], each: int) -> bytes:
        found = ",".join(f'"{key(number)}":1' for number in range(body // each))
        return f"{{{at},{found}}}".encode()

    def batch(items: list[Any]) -> bytes:
        return json.dumps({"items": items}).encode()

    names = [{"survey": survey, "read_points": ["gate-1"] * 18}] * (body // 1000)
    yield Attack("keys twice", asked, partial(keys, lambda n: str(n // 2 * 2), 12))
    yield Attack("unknown keys", asked, partial(keys, lambda n: f"levels{n}", 16))
    yield Attack("a key of a megabyte", asked, partial(keys, lambda _: "k" * (body - 200), body))
    yield Attack("levels of text", given, partial(strategy, "levels_dbm", '""'))
    yield Attack("masks of nothing", given, partial(strategy, "masks", "{}"))
    yield Attack("deep nesting", asked, lambda: b"[" * body)
    yield Attack(
        "long numbers", asked, lambda: b"[" + b",".join([b"9" * 4000] * (body // 4001)) + b"]"
    )
    yield Attack("one survey named often", "/v1/batches", lambda: batch(names))
    yield Attack(
        "all of one survey often", "/v1/batches", lambda: batch([{"survey": survey}] * 1000)
    )
    yield Attack(
        "a change of one long text",
        "/v1/trade-offs",
        partial(_long_text, at, body),
    )


def _long_text(at: str, body: int) -> bytes:
    return f'{{{at},"set":{{"unlisted":"{"x" * body}"}}}}'.encode()


def _of_surveys(upload: int, size: float) -> Iterator[Attack]:
    path = "/v1/surveys"
    site = {"site": "x", "read_points": {"gate-1": _POLICY}}

    def document(**parts: str) -> bytes:
        given = {"site": json.dumps(site), "reads": "[]", "roster": "[]"} | parts
        return ("{" + ",".join(f'"{key}":{text}' for key, text in given.items()) + "}").encode()

    def many(item: str) -> str:
        return f"[{','.join([item] * (upload // (len(item) + 1)))}]"

    yield Attack("rows that are numbers", path, lambda: document(reads=many("1")))
    yield Attack("rows of nothing", path, lambda: document(roster=many("{}")))
    yield Attack("a site of unknown keys", path, lambda: document(site=_unknown(upload)))
    yield Attack("bad cells", path, lambda: form(reads="gate-1,p1,x,zz,y\n", upload=upload), FORM)
    yield Attack("short lines", path, lambda: form(reads="a\n", upload=upload), FORM)
    yield Attack("one tag read often", path, lambda: form(reads=_ROWS, upload=upload), FORM)
    points = int(5000 * size) + 501
    yield Attack("too many read points", path, lambda: wide_survey(points))
    yield Attack("many read points", path, lambda: wide_survey(int(499 * size) + 1, levels=1000))
    yield Attack("kilobytes of user memory", path, partial(_memory, int(200 * size) + 10))


def _unknown(upload: int) -> str:
    keys = ",".join(f'"k{number}":1' for number in range(upload // 14))
    return f'{{"site":"x","read_points":{{}},{keys}}}'


def wide_survey(points: int, levels: int = 2) -> bytes:
    """A survey of many read points, of one pass each."""
    names = [f"gate-{number}" for number in range(1, points + 1)]
    rows = [
        {"read_point": name, "pass_id": "p1", "epc": "30AA", "role": "wanted"} for name in names
    ]
    policy = {"levels_dbm": [15 + number / 1000 for number in range(levels)]}
    site = {"site": "x", "read_points": dict.fromkeys(names, policy)}
    return json.dumps({"site": site, "reads": [], "roster": rows}).encode()


def _memory(tags: int) -> bytes:
    """Tags with 10,000 bytes of user memory, and masks that may begin at every bit."""
    rows = [
        {
            "read_point": "gate-1",
            "pass_id": "p1",
            "epc": f"{number:024X}",
            "role": "wanted" if number % 2 else "stray",
            "user": f"{number:04X}" + "5A" * 9_998,
        }
        for number in range(tags)
    ]
    policy = _POLICY | {"reader": {"mask_step_bits": 1}}
    site = {"site": "x", "read_points": {"gate-1": policy}}
    return json.dumps({"site": site, "reads": [], "roster": rows}).encode()


def form(*, reads: str, upload: int) -> bytes:
    """The files of a case as a form, with one row of reads.csv again and again."""
    files = {
        "reads.csv": "read_point,pass_id,power_dbm,epc,rssi_dbm\n" + reads * (upload // len(reads)),
        "roster.csv": "read_point,pass_id,epc,role\ngate-1,p1,30AA,wanted\n",
        "site.json": json.dumps({"site": "x", "read_points": {"gate-1": _POLICY}}),
    }
    parts = [
        f'--{FORM_BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"; filename="x"\r\n\r\n'
        f"{text}\r\n"
        for name, text in files.items()
    ]
    return ("".join(parts) + f"--{FORM_BOUNDARY}--\r\n").encode()
