"""`python -m benchmarks.throughput`: messages a second from the broker to the commit.

Beside it, in the same run, the limits: a bare paho consumer, a COPY of the same rows, and a short
script with one insert a message. Every consumer drains the same queue from a session of its own.
Then 2,400 presses report once a second, and each report's time from publishing to its commit is
read from the server's commit timestamps. Exit code 1 when a bar is missed.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import paho.mqtt.client as mqtt
import psycopg
from paho.mqtt.enums import CallbackAPIVersion
from psycopg.rows import dict_row

from duestroke.counting.types import Reading
from duestroke.messages import REPORTS, encode_reading, report_topic
from launch import postgres
from store.migrate import migrate
from store.presses import Settings
from store.unit import Unit
from tests.support.mqtt import PASSWORD, USER, RunningBroker, open_folder, session_of
from tests.system.faults.parts import Command, ingestor

PRESSES: Final = 2_400
PLANT: Final = 60
"""Presses whose reports lie in the queue: a plant that catches up after an outage."""
LEAST_OF_BARE: Final = 0.5
LEAST_OF_SCRIPT: Final = 5.0
MOST_P99_S: Final = 2.0
_SCRIPT_MESSAGES: Final = 1_500
_SECOND: Final = 1_000_000
_ONE_INSERT: Final = (
    "CREATE TABLE one_insert (press text, boot text, seq bigint, at timestamptz, strokes bigint,"
    " speed float8, accel float8, PRIMARY KEY (press, boot, seq))"
)
_LATENCY: Final = (
    "SELECT extract(epoch FROM pg_xact_commit_timestamp(xmin) - at)::float8 AS s"
    " FROM reading WHERE at >= %s"
)


@dataclass
class Bench:
    """Server, broker and ingestor of one run, and the presses' counters."""

    folder: Path
    cluster: postgres.Cluster
    broker: RunningBroker
    ingestor: Command
    seq: int = 0
    queued: int = 0
    ours: list[float] = field(default_factory=list)
    bare: list[float] = field(default_factory=list)
    script: list[float] = field(default_factory=list)
    copy: list[float] = field(default_factory=list)

    @property
    def account(self) -> list[str]:
        """Port, user and password, as the two scripts take them."""
        return [str(self.broker.port), USER, PASSWORD]


@contextmanager
def bench() -> Iterator[Bench]:
    """Everything running but the ingestor, with 2,400 presses registered."""
    with open_folder() as folder:
        cluster = postgres.prepare(folder / "db")
        (cluster.data / "postgresql.auto.conf").open("a").write("track_commit_timestamp = on\n")
        server = postgres.start(cluster)
        broker = RunningBroker.start(folder / "broker")
        made = Bench(folder, cluster, broker, ingestor(cluster.url, broker, folder))
        try:
            _prepare(made)
            yield made
        finally:
            made.ingestor.stop()
            broker.stop()
            postgres.stop(server)


def _prepare(made: Bench) -> None:
    migrate(made.cluster.url)
    with psycopg.connect(made.cluster.url, row_factory=dict_row) as conn, Unit(conn) as unit:
        conn.execute(_ONE_INSERT)
        for number in range(PRESSES):
            unit.presses.register(_press(number), Settings())
        unit.commit()
    for name in ("bare", "one-insert"):
        _make_session(made, name)
    # The ingestor makes its own: it has to be there once before it is away.
    made.ingestor.start()
    _wait_for_log(made, "Subscribed")
    made.ingestor.stop()


def _press(number: int) -> str:
    return f"bench-mere/{number // 100}/{number % 100:02d}"


def _make_session(made: Bench, name: str) -> None:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, name, protocol=mqtt.MQTTv5)
    client.username_pw_set(USER, PASSWORD)
    client.on_connect = lambda *_: client.subscribe(REPORTS, qos=1)
    client.on_subscribe = lambda *_: client.disconnect()
    client.connect("127.0.0.1", made.broker.port, clean_start=True, properties=session_of(3600))
    client.loop_forever()


def _wait_for_log(made: Bench, words: str) -> None:
    deadline = time.monotonic() + 30
    while words not in made.ingestor.log.read_text():
        assert time.monotonic() < deadline, made.ingestor.log.read_text()
        time.sleep(0.05)


def readings_of(presses: int, seq: int, at: int) -> Iterator[tuple[str, Reading]]:
    """One report of each of the first so many presses."""
    for number in range(presses):
        yield _press(number), Reading("bench", seq, at, seq * 6, 6.25, 812.5)


def fill(made: Bench, presses: int, messages: int) -> int:
    """Publish about so many reports while every consumer is away; returns how many.

    Their sequence numbers follow `made.queued`.
    """
    made.queued = made.seq
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.username_pw_set(USER, PASSWORD)
    client.max_inflight_messages_set(500)
    client.connect("127.0.0.1", made.broker.port, clean_start=True)
    client.loop_start()
    start = (int(time.time()) - 86_400) * _SECOND
    infos = []
    for _ in range(messages // presses):
        made.seq += 1
        at = start + made.seq * _SECOND
        infos += [
            client.publish(report_topic(press), encode_reading(reading), qos=1)
            for press, reading in readings_of(presses, made.seq, at)
        ]
    for info in infos:
        info.wait_for_publish(120)
    client.disconnect()
    client.loop_stop()
    return len(infos)


def drain_ours(made: Bench, count: int) -> float:
    """Messages a second from the first arrival to the commit of the last one."""
    before = _committed(made)
    made.ingestor.start()
    deadline = time.monotonic() + 120
    while _committed(made) < before + count:
        assert time.monotonic() < deadline, "the queue is not drained in time"
        time.sleep(0.02)
    ended = time.time()
    made.ingestor.stop()
    rows = _rows(
        made,
        "SELECT extract(epoch FROM min(received_at))::float8 AS began FROM reading WHERE seq > %s",
        made.queued,
    )
    return count / (ended - float(rows[0]["began"]))


def drain_script(made: Bench, script: str, *more: str) -> float:
    """What a script of this folder prints: its messages a second."""
    command = [sys.executable, str(Path(__file__).with_name(script)), *made.account, *more]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=180)
    return float(done.stdout)


def copy_rows(made: Bench, count: int) -> float:
    """Rows a second of one binary COPY, without counting, into a table with the same keys."""
    columns = (
        "press_id, boot_id, seq, at, strokes, unwrapped, peak_speed_mps, peak_accel_mps2,"
        " received_at"
    )
    with psycopg.connect(made.cluster.url, row_factory=dict_row) as conn:
        rows = conn.execute(
            f"SELECT {columns} FROM reading ORDER BY received_at DESC LIMIT {count}"  # noqa: S608
        ).fetchall()
        conn.execute("CREATE TEMP TABLE copied (LIKE reading INCLUDING ALL)")
        began = time.monotonic()
        with conn.cursor().copy(f"COPY copied ({columns}) FROM STDIN (FORMAT binary)") as copy:
            copy.set_types(
                [
                    "int4",
                    "int4",
                    "int8",
                    "timestamptz",
                    "int8",
                    "int8",
                    "float8",
                    "float8",
                    "timestamptz",
                ]
            )
            for row in rows:
                copy.write_row(list(row.values()))
        conn.commit()
        return len(rows) / (time.monotonic() - began)


def latencies(made: Bench, seconds: int) -> list[float]:
    """Seconds from publishing to commit, 2,400 reports a second, each press once a second."""
    made.ingestor.start()
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.username_pw_set(USER, PASSWORD)
    client.max_inflight_messages_set(2_000)
    client.connect("127.0.0.1", made.broker.port, clean_start=True)
    client.loop_start()
    time.sleep(3)
    before = _committed(made)
    began_at = time.time()
    count = 0
    for _ in range(seconds):
        made.seq += 1
        for press, reading in readings_of(PRESSES, made.seq, 0):
            # Paced by the clock: a publisher that falls behind catches up, and it shows as latency.
            ahead = began_at + count / PRESSES - time.time()
            if ahead > 0.002:
                time.sleep(ahead)
            now = int(time.time() * _SECOND)
            client.publish(report_topic(press), encode_reading(reading._replace(at=now)), qos=1)
            count += 1
    published_s = time.time() - began_at
    deadline = time.monotonic() + 60
    while _committed(made) < before + count and time.monotonic() < deadline:
        time.sleep(0.05)
    client.disconnect()
    client.loop_stop()
    made.ingestor.stop()
    print(f"published {count} reports in {published_s:.1f} s: {count / published_s:.0f}/s")
    began = _rows(made, "SELECT to_timestamp(%s) AS began", began_at)[0]["began"]
    found = [row["s"] for row in _rows(made, _LATENCY, began)]
    assert len(found) == count, f"{len(found)} of {count} reports committed"
    return found


def _committed(made: Bench) -> int:
    return int(_rows(made, "SELECT sum(readings) AS n FROM press_state")[0]["n"])


def _rows(made: Bench, query: Any, *values: object) -> list[dict[str, Any]]:
    with psycopg.connect(made.cluster.url, row_factory=dict_row) as conn:
        return conn.execute(query, values).fetchall()


def measure(made: Bench, turns: int, messages: int) -> None:
    """All four by turns, so that a slow minute of the machine hits each of them."""
    for number in range(turns):
        count = fill(made, PLANT, messages)
        made.bare.append(drain_script(made, "bare_consumer.py", str(count)))
        made.ours.append(drain_ours(made, count))
        made.script.append(
            drain_script(made, "one_insert.py", made.cluster.url, str(_SCRIPT_MESSAGES))
        )
        made.copy.append(copy_rows(made, count))
        # Its session holds what it had no time for.
        _make_session(made, "one-insert")
        print(
            f"turn {number + 1}, {count} messages: ours {made.ours[-1]:.0f}/s, "
            f"bare consumer {made.bare[-1]:.0f}/s, one insert a message {made.script[-1]:.0f}/s, "
            f"COPY {made.copy[-1]:.0f} rows/s",
            flush=True,
        )


def verdict(made: Bench, found: list[float]) -> bool:
    """Print the ratios and the latency with their bars; whether all are held."""
    ours = statistics.median(made.ours)
    of_bare = _ratio(made.ours, made.bare)
    of_script = _ratio(made.ours, made.script)
    ordered = sorted(found)
    p50, p99 = (ordered[int(len(ordered) * share)] for share in (0.5, 0.99))
    lines = [
        (f"publish to commit {ours:.0f} messages/s", True),
        (f"of the bare consumer {of_bare:.2f}, bar {LEAST_OF_BARE}", of_bare >= LEAST_OF_BARE),
        (
            f"of one insert a message {of_script:.1f}, bar {LEAST_OF_SCRIPT}",
            of_script >= LEAST_OF_SCRIPT,
        ),
        (f"of COPY {_ratio(made.ours, made.copy):.2f}, no bar", True),
        (
            f"at {PRESSES} reports/s: median {p50:.3f} s, p99 {p99:.3f} s, worst "
            f"{ordered[-1]:.3f} s, bar {MOST_P99_S} s",
            p99 < MOST_P99_S,
        ),
    ]
    for text, good in lines:
        print(f"{'ok    ' if good else 'MISSED'} {text}")
    return all(good for _, good in lines)


def _ratio(ours: list[float], other: list[float]) -> float:
    """Median over the turns: both of a turn saw the same machine."""
    return statistics.median(one / two for one, two in zip(ours, other, strict=True))


def main() -> int:
    """Run it all."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.throughput", description=__doc__)
    parser.add_argument("--turns", type=int, default=3, help="turns of all consumers (default 3)")
    parser.add_argument("--messages", type=int, default=24_000, help="messages in a turn's queue")
    parser.add_argument("--seconds", type=int, default=30, help="seconds at 2,400 reports/s")
    given = parser.parse_args()
    with bench() as made:
        measure(made, given.turns, given.messages)
        found = latencies(made, given.seconds)
        return 0 if verdict(made, found) else 1


if __name__ == "__main__":
    sys.exit(main())
