"""What hostile bodies cost the server: processor, memory and bytes of answer for each.

`python -m tests.bench.bodies [--size 1.0] [--tree FOLDER] [--wait 120]` starts a server and sends
each body of `hostile` to it. Printed are the status, the processor time and the peak memory of the
server process, the peak of its workers, and the size of the answer. `--tree` attacks another
checkout, for figures side by side. The exit status is 1 where the server took more than 3 s of
processor, 400 MB or 2 MB of answer, or answered with a defect. Linux only: it reads /proc.
"""

from __future__ import annotations

import argparse
import http.client
import os
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlsplit

from tests.api import live as live_server
from tests.api.live import Live, client_token, wait_until
from tests.bench.hostile import Attack, attacks, wide_survey

CPU_S, PEAK_MB, ANSWER_BYTES = 3.0, 400.0, 2_000_000
_TICKS = os.sysconf("SC_CLK_TCK")


def main(arguments: list[str]) -> int:
    """Attack and print; returns 1 where a bound did not hold."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bodies", description=__doc__)
    parser.add_argument("--size", type=float, default=1.0, help="share of the limits (1.0)")
    parser.add_argument("--tree", type=Path, default=live_server.ROOT, help="of another checkout")
    parser.add_argument("--wait", type=float, default=120.0, help="seconds for each answer (120)")
    parser.add_argument("--only", default="", help="attacks whose name holds this text")
    options = parser.parse_args(arguments)
    live_server.ROOT = options.tree.resolve()
    print(f"{'body':28} {'sent MB':>8} {'status':>6} {'CPU s':>7} {'peak MB':>8} "
          f"{'workers MB':>10} {'answer kB':>9}")  # fmt: skip
    held = True
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        for attack in _all(options.size):
            if options.only in attack.name:
                held &= _attacked(data, attack, options.size, options.wait)
    return 0 if held else 1


def _all(size: float) -> list[Attack]:
    return list(attacks("su_" + "0" * 32, size))


def _attacked(data: Path, attack: Attack, size: float, wait: float) -> bool:
    """One attack on a server of its own; whether the bounds held."""
    token = client_token(data)
    with Live(data, "--workers", "1", token=token) as live:
        live.ready()
        # A survey of many read points with a large summary, for the bodies that name it.
        given = live.ask("POST", "/v1/surveys", wide_survey(300, levels=30), timeout=wait)
        survey = given.json["id"]
        (found,) = [one for one in attacks(survey, size) if one.name == attack.name]
        body = found.make()
        assert live.process is not None
        pid = live.process.pid
        wait_until(lambda: len(live.workers()) == 2, 60)
        for one in (pid, *live.workers()):
            Path(f"/proc/{one}/clear_refs").write_text("5")  # the peak begins anew
        before = _cpu(pid)
        status, answer = _send(live.url, token, found, body, wait)
        cpu, peak = _cpu(pid) - before, _peak(pid)
        workers = max([0.0, *map(_peak, live.workers())])
    ok = cpu <= CPU_S and peak <= PEAK_MB and answer <= ANSWER_BYTES and 200 <= status < 500
    print(
        f"{attack.name:28} {len(body) / 1e6:8.2f} {status or 'none':>6} {cpu:7.2f} {peak:8.0f} "
        f"{workers:10.0f} {answer / 1e3:9.1f}{'' if ok else '  too much'}",
        flush=True,
    )
    return ok


def _send(url: str, token: str, attack: Attack, body: bytes, wait: float) -> tuple[int, int]:
    """Status and bytes of the answer; 0 where none came in time."""
    host = urlsplit(url).netloc
    connection = http.client.HTTPConnection(host, timeout=wait)
    headers = {"Content-Type": attack.kind, "Authorization": f"Bearer {token}"}
    try:
        connection.request("POST", attack.path, body, headers)
        reply = connection.getresponse()
        return reply.status, len(reply.read())
    except OSError:
        time.sleep(0.1)
        return 0, 0
    finally:
        connection.close()


def _cpu(pid: int) -> float:
    """Seconds of processor that a process has taken."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS


def _peak(pid: int) -> float:
    """MB of memory that a process has held at once, since its peak began anew."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:  # it ended
        return 0.0
    return next((int(line.split()[1]) / 1000 for line in lines if line.startswith("VmHWM")), 0.0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
