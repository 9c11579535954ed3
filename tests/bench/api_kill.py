"""kill -9 of a server and its workers at random moments of a batch, again and again.

`python -m tests.bench.api_kill [--kills 20] [--read-points 200] [--seed 0]` prints what was lost or
done twice; the exit status is 1 where anything was, or where no kill came while the batch ran.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.api.given import case_document
from tests.api.live import Live, Reply, client_token
from tests.bench.held import Held, tell


@dataclass(frozen=True)
class Report:
    """What was seen: `lost` read points, `doubled` results or batches, and how it went."""

    lost: int
    doubled: int
    changed: int
    failed: int
    kills: int
    while_it_ran: int
    took_s: float

    @property
    def sound(self) -> bool:
        return not (self.lost or self.doubled or self.changed or self.failed)

    @property
    def hit(self) -> bool:
        """Whether anything was killed while there was work to lose."""
        return self.while_it_ran > 0


def kill_test(
    folder: Path, *, kills: int, read_points: int, workers: int, pause_s: float, seed: int = 0
) -> Report:
    """Submit a batch, kill everything `kills` times while it runs, and compare what is there.

    The submission, too, is sent into the killing: with one key until it is answered.
    """
    rng = random.Random(seed)
    live = Live(folder / "data", "--workers", str(workers), token=client_token(folder / "data"))
    started = time.monotonic()
    live.start().ready()
    survey = live.ask("POST", "/v1/surveys", case_document(read_points)).json["id"]
    body = {"items": [{"survey": survey}]}
    batch, seen, done, during = "", {}, 0, 0
    while done < kills:
        moment = time.monotonic() + pause_s
        if not batch:
            batch = _try(live, "POST", "/v1/batches", body, Idempotency_Key="once").get("id", "")
        goal = _done(live, batch) + rng.randint(1, max(1, read_points // (kills + 1)))
        goal = min(goal, read_points)
        while batch and time.monotonic() < moment and _done(live, batch) < goal:
            time.sleep(0.01)
        time.sleep(rng.uniform(0, 0.1))
        seen |= _results(live, batch) if batch else {}
        during += len(seen) < read_points
        live.kill(workers=rng.random() < 0.8)
        done += 1
        live.start()
    while not batch:
        batch = _try(live, "POST", "/v1/batches", body, Idempotency_Key="once").get("id", "")
        time.sleep(0.5)
    while _try(live, "GET", f"/v1/batches/{batch}").get("state") != "done":
        time.sleep(0.5)
    final = _results(live, batch)
    batches = live.ask("GET", "/v1/batches").json["items"]
    strategies = _all(live, "/v1/strategies")
    live.stop()
    names = Counter(row["read_point"] for row in final.values())
    return Report(
        lost=read_points - len(names),
        doubled=sum(names.values()) - len(names) + len(batches) - 1 + len(strategies) - len(final),
        changed=sum(final[place]["result"] != row["result"] for place, row in seen.items()),
        failed=sum(row["state"] != "done" for row in final.values()),
        kills=done,
        while_it_ran=during,
        took_s=time.monotonic() - started,
    )


def _try(live: Live, method: str, path: str, body: Any = None, **headers: str) -> dict[str, Any]:
    """The document of an answer, or {} where there is none yet."""
    try:
        reply: Reply = live.ask(method, path, body, **headers)
    except OSError:
        return {}
    return dict(reply.json) if reply.status < 300 else {}


def _done(live: Live, batch: str) -> int:
    """How many read points are solved."""
    counts = _try(live, "GET", f"/v1/batches/{batch}").get("counts", {}) if batch else {}
    return int(counts.get("done", 0))


def _results(live: Live, batch: str) -> dict[int, dict[str, Any]]:
    """Position → row of each read point that is finished."""
    rows = _all(live, f"/v1/batches/{batch}/results")
    return {row["position"]: row for row in rows if row["state"] in ("done", "failed")}


def _all(live: Live, path: str) -> list[dict[str, Any]]:
    items, following = [], None
    while True:
        cursor = "" if following is None else f"&cursor={following}"
        page = _try(live, "GET", f"{path}?limit=100{cursor}")
        items += page.get("items", [])
        following = page.get("next")
        if following is None:
            return items


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--read-points", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--pause", type=float, default=30.0, help="seconds between kills, at most")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report = kill_test(
            Path(folder),
            kills=given.kills,
            read_points=given.read_points,
            workers=2,
            pause_s=given.pause,
            seed=given.seed,
        )
    return tell(
        f"kill -9, {given.kills} times, in a batch of {given.read_points} read points",
        [
            Held("read points lost", str(report.lost), "0", report.lost == 0),
            Held("results or batches doubled", str(report.doubled), "0", report.doubled == 0),
            Held("results that changed later", str(report.changed), "0", report.changed == 0),
            Held("read points given up", str(report.failed), "0", report.failed == 0),
            Held("kills", str(report.kills), str(given.kills), report.kills == given.kills),
            Held("of them while it ran", str(report.while_it_ran), "1 or more", report.hit),
            Held("seconds in all", f"{report.took_s:.0f}"),
        ],
    )


if __name__ == "__main__":
    sys.exit(main())
