"""The `duestroke` command as a user starts it: `up` and all its parts, killed, stopped, started.

`demo` differs in the history it loads and the presses it plays; CI starts it from the README.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2
import paho.mqtt.publish as publishing
import psycopg
import pytest
from paho.mqtt.enums import MQTTProtocolVersion

from duestroke.messages import report_topic
from launch.accounts import server_account, servers_home
from tests.support.mqtt import wait_until

PARTS = {"postgres", "broker", "ingest", "engine", "api", "board"}
COMMAND = [sys.executable, "-P", "-m", "launch"]
FREE_PORTS = ["--mqtt-port", "0", "--mqtt-port-v311", "0", "--api-port", "0", "--board-port", "0"]
PRESS = "harlow-mere/2/07"


@dataclass
class Started:
    """A running command and where its ready file says that everything is."""

    process: subprocess.Popen[str]
    ready_file: Path
    output: Path

    @property
    def ready(self) -> dict[str, Any]:
        """What the ready file says; it goes with the command."""
        assert self.process.poll() is None, self.output.read_text()
        return json.loads(self.ready_file.read_text())

    def pid_of(self, part: str) -> int | None:
        """The part's process id as the ready file says it now."""
        try:
            return json.loads(self.ready_file.read_text())["pids"].get(part)
        except FileNotFoundError:
            return None

    @property
    def lines(self) -> list[str]:
        return self.output.read_text().splitlines()

    def call(self, method: str, path: str, body: object = None) -> Any:
        """One call of the API as admin."""
        answer = httpx2.request(
            method,
            f"{self.ready['api']}/api/v1{path}",
            json=body,
            headers={"Authorization": f"Bearer {self.ready['token']}"},
            timeout=10,
        )
        answer.raise_for_status()
        return answer.json()

    def stop(self, number: signal.Signals = signal.SIGTERM) -> float:
        """Ask for a stop; how many seconds it took."""
        began = time.monotonic()
        self.process.send_signal(number)
        self.process.wait(20)
        return time.monotonic() - began


def command(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the command to its end."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment(),
    )


def environment(**more: str) -> dict[str, str]:
    return {k: v for k, v in os.environ.items() if not k.startswith("DUESTROKE_")} | more


@contextmanager
def started(data_dir: Path, *, within_s: float = 60) -> Iterator[Started]:
    """`duestroke up` on a data dir, ready."""
    ready_file, output = data_dir.with_suffix(".ready"), data_dir.with_suffix(".out")
    ready_file.unlink(missing_ok=True)  # of a supervisor that was killed
    arguments = ["up", "--data-dir", data_dir, *FREE_PORTS, "--ready-file", ready_file]
    with output.open("w") as out:
        process = subprocess.Popen(
            [*COMMAND, *map(str, arguments)],
            stdout=out,
            stderr=out,
            text=True,
            env=environment(),
            start_new_session=True,
        )
    run = Started(process, ready_file, output)
    try:
        wait_until(
            lambda: ready_file.exists() or process.poll() is not None,
            within_s=within_s,
            what="the ready file",
        )
        assert process.poll() is None, output.read_text()
        yield run
    finally:
        if process.poll() is None:
            run.stop()


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    return tmp_path / "data"


def gone(pids: dict[str, int]) -> bool:
    return not any(Path(f"/proc/{pid}").exists() for pid in pids.values())


def nobody_listens(ready: dict[str, Any]) -> bool:
    for port in (ready["mqtt"]["port"], ready["mqtt"]["port_v311"]):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return False
    for url in (ready["api"], ready["board"]):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", int(url.rsplit(":", 1)[1]))) == 0:
                return False
    return True


def test_up_from_nothing_to_a_stop_and_on_again(data_dir: Path) -> None:
    with started(data_dir) as run:
        ready = run.ready
        assert set(ready["pids"]) == PARTS
        assert set(ready) == {"mqtt", "api", "board", "token", "database", "pids"}
        assert stat.S_IMODE(run.ready_file.stat().st_mode) == 0o600
        assert stat.S_IMODE((data_dir / "secrets.json").stat().st_mode) == 0o600
        said = "\n".join(run.lines)
        for secret in (ready["token"], ready["mqtt"]["password"]):
            assert secret not in said
        assert "PostgreSQL" in said
        assert "broker: " in said
        assert httpx2.get(ready["board"], timeout=10).status_code == 200
        run.call("PUT", f"/presses/{PRESS}", {})

        refused = command("up", "--data-dir", data_dir, *FREE_PORTS)
        assert refused.returncode == 2
        assert refused.stderr.count("\n") == 1
        assert f"{data_dir} is in use by another duestroke (process {run.process.pid})" in (
            refused.stderr
        )
        taken = command("up", "--data-dir", data_dir.with_name("other"), *FREE_PORTS,
                        "--api-port", ready["api"].rsplit(":", 1)[1])  # fmt: skip
        assert taken.returncode == 2
        assert taken.stderr.startswith("duestroke: --api-port ")
        assert taken.stderr.count("\n") == 1

        assert run.stop(signal.SIGINT) < 10
        assert run.process.returncode == 0
        assert gone(ready["pids"])
        assert nobody_listens(ready)
        assert not run.ready_file.exists()
    with started(data_dir) as again:
        assert again.ready["token"] == ready["token"]
        assert again.ready["mqtt"]["password"] == ready["mqtt"]["password"]
        (press,) = again.call("GET", "/presses")["items"]
        assert press["press"] == PRESS
    other_kind = command("demo", "--data-dir", data_dir, *FREE_PORTS)
    assert other_kind.returncode == 2
    assert other_kind.stderr.count("\n") == 1
    assert "was made by `duestroke up`" in other_kind.stderr


def test_each_part_that_is_killed_comes_back_where_it_was(data_dir: Path) -> None:
    with started(data_dir) as run:
        run.call("PUT", f"/presses/{PRESS}", {})
        first = run.ready
        for part in sorted(PARTS):
            before = run.ready["pids"]
            os.kill(before[part], signal.SIGKILL)
            began = time.monotonic()
            wait_until(
                lambda part=part, old=before[part]: run.pid_of(part) not in (None, old),
                within_s=20,
                what=f"{part} is started again",
            )
            assert time.monotonic() - began < 15, part
        last = run.ready
        assert {k: v for k, v in last.items() if k != "pids"} == {
            k: v for k, v in first.items() if k != "pids"
        }
        (press,) = run.call("GET", "/presses")["items"]
        assert press["press"] == PRESS
        publish(run, b'{"boot": "a", "seq": 1, "at": "2026-03-01T06:00:00Z", "strokes": 5}')
        wait_until(
            lambda: run.call("GET", f"/presses/{PRESS}")["last_report"], what="the report is stored"
        )
        assert sum("is started again" in line for line in run.lines) >= len(PARTS)


def publish(run: Started, payload: bytes) -> None:
    """One report over MQTT with the account of the ready file."""
    mqtt = run.ready["mqtt"]
    publishing.single(
        report_topic(PRESS),
        payload,
        qos=1,
        hostname=mqtt["host"],
        port=mqtt["port"],
        auth={"username": mqtt["username"], "password": mqtt["password"]},
        protocol=MQTTProtocolVersion.MQTTv5,
    )


def test_a_killed_supervisor_leaves_nothing_in_the_way_of_the_next_start(data_dir: Path) -> None:
    with started(data_dir) as run:
        run.call("PUT", f"/presses/{PRESS}", {})
        pids = run.ready["pids"]
        run.process.kill()
        run.process.wait(10)
    wait_until(lambda: gone(pids), within_s=15, what="all parts end with their supervisor")
    with started(data_dir) as again:
        (press,) = again.call("GET", "/presses")["items"]
        assert press["press"] == PRESS


def test_a_part_that_keeps_dying_stops_everything_and_is_named(data_dir: Path) -> None:
    with started(data_dir) as run:
        pids = run.ready["pids"]
        for _ in range(5):
            before = run.pid_of("board")
            assert before is not None
            os.kill(before, signal.SIGKILL)
            wait_until(
                lambda old=before: (
                    run.process.poll() is not None or run.pid_of("board") not in (None, old)
                ),
                within_s=20,
            )
        assert run.process.wait(15) == 1
        assert any("board ended 5 times within a minute" in line for line in run.lines)
        assert gone(pids)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can own a folder that the server can't")
def test_as_root_a_private_folder_stays_private(tmp_path: Path) -> None:
    private = tmp_path / "private"
    private.mkdir(mode=0o700)
    with started(private / "data") as run:
        place = Path((private / "data" / "postgres.path").read_text().strip())
        said = "\n".join(run.lines)
        assert str(place) in said
        assert place.is_dir()
        with psycopg.connect(run.ready["database"]) as conn:
            assert conn.execute("SHOW data_directory").fetchone() == (f"{place}/cluster/data",)
    assert stat.S_IMODE(private.stat().st_mode) == 0o700
    # Who deletes the data dir begins anew; what lies elsewhere is neither taken up nor touched.
    shutil.rmtree(private / "data")
    anew = servers_home(private / "data", server_account())
    assert anew != place
    assert (place / "cluster").is_dir()
    for lies_outside_of_pytests_own in (place, anew):
        shutil.rmtree(lies_outside_of_pytests_own)
