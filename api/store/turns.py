"""Whose turn it is: clients share the workers, however much any of them asks for.

A client alone has all workers. Where others have asked lately, one worker stays free of it;
and where others wait while one has more than its share, a worker is taken back from it.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

from sqlalchemy import ColumnElement, Connection, exists, func, select, text

from .database import Database, moment
from .tables import jobs, turns

ANY, INTERACTIVE = "any", "interactive"  # the work that a worker takes
_NOTE = text(  # two workers may be the first at the same moment
    "INSERT INTO turns (client, served, asked) VALUES (:client, :now, :now) "
    "ON CONFLICT (client) DO UPDATE SET served = excluded.served"
)
_ASK = text(
    "INSERT INTO turns (client, served, asked) VALUES (:client, 0, :now) "
    "ON CONFLICT (client) DO UPDATE SET asked = excluded.asked"
)
_LATELY_S = 60.0
_PATIENCE_S = 1.5  # how long a client waits before others give up what they have beyond their share


def group_of(worker: str) -> str:
    """The supervisor's part of a worker's name."""
    return worker.rsplit(".", 2)[0]


def next_clients(
    connection: Connection, ready: ColumnElement[bool], worker: str, places: int, now: float
) -> list[str]:
    """The clients whose jobs a worker may take, in the order of their turns.

    Who has fewest running goes first, then who was served longest ago. `places`: how many workers
    of the group take any work (0: the worker itself does not).
    """
    waiting = list(connection.execute(select(jobs.c.client).where(ready).distinct()).scalars())
    running = _running(connection, jobs.c.worker.is_not(None))
    served = select(turns.c.client, turns.c.served).where(turns.c.client.in_(waiting))
    last = {client: float(at) for client, at in connection.execute(served)}
    if places > 1:
        here = _running(connection, _in_group(worker))
        waiting = [
            client
            for client in waiting
            if here[client] < places - 1 or not _others_lately(connection, client, now)
        ]
    return sorted(waiting, key=lambda client: (running[client], last.get(client, 0.0), client))


def _in_group(worker: str) -> ColumnElement[bool]:
    return jobs.c.worker.startswith(f"{group_of(worker)}.{ANY}.", autoescape=True)


def _running(connection: Connection, where: ColumnElement[bool]) -> Counter[str]:
    found = select(jobs.c.client, func.count()).where(where, jobs.c.state == "running")
    rows = connection.execute(found.group_by(jobs.c.client))
    return Counter({client: int(count) for client, count in rows})


def _others_lately(connection: Connection, client: str, now: float) -> bool:
    lately = (turns.c.asked > now - _LATELY_S) | (turns.c.served > now - _LATELY_S)
    others = (turns.c.client != client) & lately
    return bool(connection.execute(select(exists().where(others))).scalar_one())


def note_turn(connection: Connection, client: str, now: float) -> None:
    """Remember that a client's work was taken up."""
    connection.execute(_NOTE, {"client": client, "now": now})


def note_asked(connection: Connection, client: str, now: float) -> None:
    """Remember that a client asked for work: from then on a worker is kept for it."""
    connection.execute(_ASK, {"client": client, "now": now})


def worker_to_take_back(database: Database, group: str, places: int) -> str | None:
    """The worker of a group whose job must wait, since its client has more than its share.

    `places`: how many workers of the group take any work; one more takes interactive work alone. A
    share is those places by the clients that have work, rounded up. Where one has less than that
    and waits, and another has more, it is the job of the latter that was taken up last which has to
    wait.
    """
    with database.read() as connection:
        now = moment(connection)
        claimed = (jobs.c.ends_by - jobs.c.limit_s).label("claimed")
        mine = jobs.c.worker.startswith(f"{group}.", autoescape=True) & (jobs.c.state == "running")
        found = select(jobs.c.worker, jobs.c.client).where(mine).order_by(claimed)
        at_work = [(worker, client) for worker, client in connection.execute(found)]
        waiting = _waiting(connection, now)
    at_any = [(worker, client) for worker, client in at_work if f".{ANY}." in worker]
    clients = {client for _, client in at_work} | waiting.keys()
    for client, for_interactive in waiting.items():
        able, there = (at_work, places + 1) if for_interactive else (at_any, places)
        has, share = Counter(of for _, of in able), math.ceil(there / len(clients))
        beyond = [worker for worker, of in able if has[of] > share]
        if len(able) == there and has[client] < share and beyond:
            return str(beyond[-1])
    return None


def _waiting(connection: Connection, now: float) -> dict[str, bool]:
    """The clients whose jobs wait for longer than they should, and whether they wait for one."""
    long = (jobs.c.state == "waiting") & (jobs.c.created < now - _PATIENCE_S)
    still = jobs.c.deadline.is_(None) | (jobs.c.deadline > now)
    found: Any = select(jobs.c.client, func.max(jobs.c.deadline)).where(long, still)
    rows = connection.execute(found.group_by(jobs.c.client))
    return {client: deadline is not None for client, deadline in rows}
