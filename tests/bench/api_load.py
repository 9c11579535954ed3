"""Fifty clients at once on a mixed load, and one large upload: what the server does under it.

`python -m tests.bench.api_load [--clients 50] [--seconds 60] [--pause 1.0]` prints how often
each status came, the 50th and 95th percentile of the time of GET and POST, how long an upload of
100,000 reads took, and whether any job was lost or done twice. Read the times as those of this
machine; the exit status is 1 where something that must hold did not.
"""

from __future__ import annotations

import argparse
import json
import random
import statistics
import sys
import tempfile
import threading
import time
import uuid
from collections import Counter
from pathlib import Path
from typing import Any

from tests.api.given import STRATEGY, case_document
from tests.api.live import Live, client_token, wait_until
from tests.bench.held import Held, tell

READS = 100_000
UPLOAD_S = 3.0
GET_P95_S = 0.2
BOUNDARY = "strategist-bench"


class Tally:
    """What all clients saw: statuses, times by method, and the batches that were accepted."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.statuses: Counter[tuple[str, int]] = Counter()
        self.times: dict[str, list[float]] = {"GET": [], "POST": [], "wait": []}
        self.batches: dict[str, int] = {}
        self.broken = 0

    def note(self, kind: str, method: str, status: int, seconds: float) -> None:
        with self.lock:
            self.statuses[kind, status] += 1
            self.times[method].append(seconds)


def client(live: Live, survey: str, tally: Tally, *, end: float, pause: float, seed: int) -> None:
    """One client: mostly reads, some uploads and evaluations, now and then a solve or a batch."""
    rng = random.Random(seed)
    at = {"survey": survey, "read_point": "gate-1"}
    while time.monotonic() < end:
        draw = rng.random()
        if draw < 0.70:
            path = rng.choice(
                ("/v1", f"/v1/surveys/{survey}", "/v1/surveys?limit=5", "/v1/batches?limit=5")
            )
            asked: tuple[str, str, str, Any] = ("read", "GET", path, None)
        elif draw < 0.80:
            asked = ("upload", "POST", "/v1/surveys", case_document(1, shift=rng.randrange(9)))
        elif draw < 0.92:
            asked = (
                "compare",
                "POST",
                "/v1/comparisons",
                at | {"entries": [{"name": "a", "strategy": STRATEGY}]},
            )
        elif draw < 0.96:
            asked = ("solve", "POST", "/v1/strategies", at)
        else:
            asked = ("batch", "POST", "/v1/batches", {"items": [{"survey": survey}]})
        kind, method, path, body = asked
        more = {} if method == "GET" else {"Idempotency_Key": uuid.uuid4().hex}
        started = time.monotonic()
        try:
            reply = live.ask(method, path, body, **more)
        except OSError:
            with tally.lock:
                tally.broken += 1
            continue
        seconds = time.monotonic() - started
        tally.note(kind, "wait" if kind == "solve" else method, reply.status, seconds)
        if kind == "batch" and reply.status == 202:
            with tally.lock:
                tally.batches[reply.json["id"]] = reply.json["total"]
        time.sleep(rng.uniform(0, 2 * pause))


def large_document() -> dict[str, Any]:
    """A survey of 100,000 reads at one gate."""
    document = case_document(1, passes=200)
    base = [row for row in document["reads"] if row["power_dbm"] == 16]
    document["reads"] += [base[n % len(base)] for n in range(READS - len(document["reads"]))]
    return document


def large_upload(live: Live) -> dict[str, float]:
    """Seconds for 100,000 reads in one upload, as a JSON document and as the files of a case."""
    document = json.dumps(large_document()).encode()
    form = large_form(large_document())
    kind = f"multipart/form-data; boundary={BOUNDARY}"
    found = {}
    for name, body, media in (("JSON", document, "application/json"), ("files", form, kind)):
        started = time.monotonic()
        reply = live.ask("POST", "/v1/surveys", body, Content_Type=media)
        assert reply.status == 201, reply.body[:500]
        found[name] = time.monotonic() - started
    return found


def large_form(document: dict[str, Any]) -> bytes:
    """The same survey as the parts of a form."""
    files = {"site.json": json.dumps(document["site"])}
    for table in ("reads", "roster"):
        rows = document[table]
        lines = [",".join(rows[0]), *(",".join(map(str, row.values())) for row in rows)]
        files[f"{table}.csv"] = "\n".join(lines)
    parts = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"; filename="f"\r\n\r\n{text}'
        for name, text in files.items()
    ]
    return ("\r\n".join(parts) + f"\r\n--{BOUNDARY}--\r\n").encode()


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--pause", type=float, default=1.0, help="mean seconds between requests")
    given = parser.parse_args()
    tally = Tally()
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        with Live(data, "--workers", "2", token=client_token(data)) as live:
            live.ready()
            survey = live.ask("POST", "/v1/surveys", case_document(4)).json["id"]
            at = {"survey": survey, "read_point": "gate-1"}
            wait_until(lambda: live.ask("POST", "/v1/strategies", at).status == 201, 120)
            uploads = large_upload(live)
            end = time.monotonic() + given.seconds
            threads = [
                threading.Thread(
                    target=client,
                    args=(live, survey, tally),
                    kwargs={"end": end, "pause": given.pause, "seed": number},
                )
                for number in range(given.clients)
            ]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            wrong = lost_or_doubled(live, tally)
            live.stop()
    tell("Answers", [Held(f"{k} {s}", f"{n:,}") for (k, s), n in sorted(tally.statuses.items())])
    title = f"{given.clients} clients for {given.seconds:g} s beside two workers"
    return tell(title, [*of_uploads(uploads), *of_times(tally), *of_jobs(tally, wrong)])


def of_uploads(uploads: dict[str, float]) -> list[Held]:
    return [
        Held(f"{READS:,} reads as {name}", f"{seconds:.2f} s", "under 3 s", seconds < UPLOAD_S)
        for name, seconds in uploads.items()
    ]


def of_times(tally: Tally) -> list[Held]:
    """Medians and 95th percentiles; only that of GET is judged."""
    rows = []
    for method, times in tally.times.items():
        if len(times) < 2:
            continue
        cuts = statistics.quantiles(times, n=20)
        median, p95 = (f"{1000 * cuts[place]:.0f} ms" for place in (9, 18))
        rows.append(Held(f"{method}, median of {len(times):,}", median))
        held = cuts[18] < GET_P95_S if method == "GET" else None
        rows.append(Held(f"{method}, p95", p95, "" if held is None else "under 200 ms", held))
    return rows


def of_jobs(tally: Tally, wrong: int) -> list[Held]:
    fives = sum(count for (_, status), count in tally.statuses.items() if status >= 500)
    return [
        Held("batches accepted", f"{len(tally.batches):,}"),
        Held("read points lost or doubled", str(wrong), "0", wrong == 0),
        Held("answers with 5xx", str(fives), "0", fives == 0),
        Held("connections that broke", str(tally.broken), "0", tally.broken == 0),
    ]


def lost_or_doubled(live: Live, tally: Tally) -> int:
    """Wait for all batches; how many read points have not exactly one result."""
    wrong = 0
    for batch, total in tally.batches.items():
        path = f"/v1/batches/{batch}"
        wait_until(lambda path=path: live.ask("GET", path).json["state"] == "done", 600)
        rows = live.ask("GET", f"{path}/results?limit=100").json["items"]
        points = {row["read_point"] for row in rows if row["state"] == "done"}
        wrong += abs(total - len(rows)) + total - len(points)
    return wrong


if __name__ == "__main__":
    sys.exit(main())
