"""Looks at a demo from outside, with nothing but its ready file and Python's own library.

demo_check.py up READY_FILE LOG PID     wait for the file, then look at API and board
demo_check.py down SEEN_FILE            nothing of what was seen still runs or listens
"""

from __future__ import annotations

import json
import re
import socket
import sys
import time
import urllib.request
from pathlib import Path

WITHIN_S = 420  # the environment is made in this time too
HISTORY_WITHIN_S = 90
PRESSES = 21
DAYS_WITH_STROKES = 500


def up(ready_file: Path, log: Path, pid: int) -> None:
    """Wait until all parts answer; the first page and the whole history must be there."""
    ready = _wait(ready_file, log, pid)
    ready_file.with_name(ready_file.name + ".seen").write_text(json.dumps(ready))
    said = log.read_text()
    seconds = re.search(r"all parts answer, (\d+) s after the start", said)
    assert seconds, "the log does not say how long the start took"
    assert int(seconds[1]) <= HISTORY_WITHIN_S, f"ready only after {seconds[1]} s"
    page = _get(ready["board"])
    assert b"<html" in page, page[:200]
    presses = json.loads(_get(f"{ready['api']}/api/v1/presses", ready["token"]))["items"]
    assert len(presses) == PRESSES, f"{len(presses)} presses"
    assert all(press["last_report"] for press in presses), "a press without a report"
    _history(ready, presses[0]["press"])
    forecasts = json.loads(_get(f"{ready['api']}/api/v1/forecasts?limit=1000", ready["token"]))
    assert len(forecasts["items"]) >= PRESSES, f"{len(forecasts['items'])} forecasts"
    print(f"ci: {PRESSES} presses, {len(forecasts['items'])} forecasts, ready after {seconds[1]} s")


def _history(ready: dict, name: str) -> None:
    now = time.time()
    first, last = (
        time.strftime("%Y-%m-%dT00:00:00Z", time.gmtime(now - days * 86_400)) for days in (720, 30)
    )
    url = f"{ready['api']}/api/v1/presses/{name}/series?from={first}&to={last}&bucket=1d"
    days = json.loads(_get(url, ready["token"]))["items"]
    running = sum(day["strokes"] > 0 for day in days)
    assert running >= DAYS_WITH_STROKES, f"{running} days with strokes in two years"


def _wait(ready_file: Path, log: Path, pid: int) -> dict:
    deadline = time.monotonic() + WITHIN_S
    while not ready_file.exists():
        if not Path(f"/proc/{pid}").exists() or time.monotonic() > deadline:
            sys.exit(f"ci: no ready file\n{log.read_text()[-4000:]}")
        time.sleep(0.2)
    return json.loads(ready_file.read_text())


def _get(url: str, token: str | None = None) -> bytes:
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}
    with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=20) as answer:
        return answer.read()


def down(seen: Path) -> None:
    """No process and no port is left."""
    ready = json.loads(seen.read_text())
    left = [name for name, pid in ready["pids"].items() if Path(f"/proc/{pid}").exists()]
    assert not left, f"still running: {left}"
    ports = {int(ready[name].rsplit(":", 1)[1]) for name in ("api", "board")}
    for port in ports | {ready["mqtt"]["port"], ready["mqtt"]["port_v311"]}:
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", port)), f"something still listens on {port}"
    print("ci: no process and no port is left")


if __name__ == "__main__":
    if sys.argv[1] == "up":
        up(Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4]))
    else:
        down(Path(sys.argv[2]))
