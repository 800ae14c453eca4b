"""The supervisor over small real children: order, restarts, giving up, stopping."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from launch.part import Part
from launch.probes import file_appears
from launch.supervisor import DEATHS, PAUSES_S, Deaths, GaveUp, Stopped, Supervisor

SERVES = """
import pathlib, signal, sys, time
name, folder = sys.argv[1:3]
log = pathlib.Path(folder, "log")
def stop(*_):
    with log.open("a") as out: out.write(f"{name} stops\\n")
    sys.exit(0)
signal.signal(signal.SIGTERM, stop)
with log.open("a") as out: out.write(f"{name} starts\\n")
print("hello from", name, flush=True)
pathlib.Path(folder, name).touch()
while True: time.sleep(0.05)
"""
IGNORES = """
import pathlib, signal, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
pathlib.Path(sys.argv[2], sys.argv[1]).touch()
while True: time.sleep(1)
"""
DIES = "import sys\nprint('cannot', flush=True)\nsys.exit(3)\n"


class Record:
    """Keeps what a supervisor said and which pids it told of."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.pids: list[Mapping[str, int]] = []

    def supervisor(self) -> Supervisor:
        return Supervisor(self.lines.append, lambda pids: self.pids.append(dict(pids)))


def serving(name: str, folder: Path) -> Part:
    beat = folder / name
    return Part(
        name,
        [sys.executable, "-c", SERVES, name, str(folder)],
        answers=file_appears(beat),
        before=lambda: beat.unlink(missing_ok=True),
    )


def gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


async def until(true: Callable[[], bool], seconds: float = 5.0) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline, "it did not come true in time"
        await asyncio.sleep(0.02)


def test_parts_start_in_order_and_stop_in_reverse(tmp_path: Path) -> None:
    record = Record()

    async def scenario() -> dict[str, int]:
        supervisor = record.supervisor()
        for name in ("first", "second", "third"):
            await supervisor.start([serving(name, tmp_path)])
        pids = supervisor.pids
        supervisor.request_stop()
        await supervisor.run()
        await supervisor.stop()
        return pids

    pids = asyncio.run(scenario())
    assert (tmp_path / "log").read_text().split("\n")[:-1] == [
        "first starts", "second starts", "third starts",
        "third stops", "second stops", "first stops",
    ]  # fmt: skip
    assert list(pids) == ["first", "second", "third"]
    assert all(gone(pid) for pid in pids.values())
    assert any(line.strip() == "first | hello from first" for line in record.lines)


def test_a_killed_part_is_started_again_and_its_new_pid_is_told(tmp_path: Path) -> None:
    record = Record()

    async def scenario() -> tuple[int, int]:
        supervisor = record.supervisor()
        await supervisor.start([serving("part", tmp_path)])
        before = supervisor.pids["part"]
        os.kill(before, signal.SIGKILL)
        began = time.monotonic()
        await until(lambda: supervisor.pids.get("part", before) != before and len(record.pids) == 2)
        assert time.monotonic() - began < 5
        after = record.pids[-1]["part"]
        await supervisor.stop()
        return before, after

    before, after = asyncio.run(scenario())
    assert before != after
    assert gone(after)
    assert any("part ended (killed by SIGKILL)" in line for line in record.lines)


def test_five_deaths_in_a_minute_give_up_and_name_the_part() -> None:
    record = Record()

    async def scenario() -> None:
        supervisor = record.supervisor()
        try:
            await supervisor.start([Part("broken", [sys.executable, "-c", DIES], answers=never)])
        finally:
            await supervisor.stop()

    async def never() -> bool:
        return False

    with pytest.raises(GaveUp, match=r"^broken ended 5 times within a minute, last with exit"):
        asyncio.run(scenario())
    assert sum("broken | cannot" in line for line in record.lines) == DEATHS


def test_pauses_grow_stay_under_five_seconds_and_old_deaths_are_forgotten() -> None:
    deaths = Deaths()
    assert [deaths.pause_after(float(at)) for at in range(5)] == [*PAUSES_S, None]
    assert list(PAUSES_S) == sorted(PAUSES_S)
    assert PAUSES_S[-1] < 5
    patient = Deaths()
    assert all(patient.pause_after(61.0 * n) == PAUSES_S[0] for n in range(20))


def test_a_stop_while_a_part_does_not_answer_yet_ends_the_start(tmp_path: Path) -> None:
    async def never() -> bool:
        return False

    async def scenario() -> None:
        supervisor = Record().supervisor()
        asyncio.get_running_loop().call_later(0.3, supervisor.request_stop)
        began = time.monotonic()
        with pytest.raises(Stopped):
            await supervisor.start([replace(serving("deaf", tmp_path), answers=never)])
        await supervisor.stop()
        assert time.monotonic() - began < 3

    asyncio.run(scenario())


def test_what_ignores_the_stop_is_killed_and_all_is_over_within_ten_seconds(tmp_path: Path) -> None:
    record = Record()

    async def scenario() -> list[int]:
        supervisor = record.supervisor()
        for name in ("one", "two"):
            command = [sys.executable, "-c", IGNORES, name, str(tmp_path)]
            await supervisor.start([replace(serving(name, tmp_path), command=command)])
        pids = list(supervisor.pids.values())
        began = time.monotonic()
        await supervisor.stop()
        assert time.monotonic() - began < 10
        return pids

    pids = asyncio.run(scenario())
    assert all(gone(pid) for pid in pids)
    assert sum("did not stop within" in line for line in record.lines) == 2


def test_a_step_that_fails_is_named(tmp_path: Path) -> None:
    async def scenario() -> None:
        supervisor = Record().supervisor()
        try:
            await supervisor.step(Part("migrate", [sys.executable, "-c", DIES]))
        finally:
            await supervisor.stop()

    with pytest.raises(GaveUp, match=r"^migrate failed \(exit code 3\)"):
        asyncio.run(scenario())


def test_a_start_that_was_not_the_parts_fault_is_no_death(tmp_path: Path) -> None:
    """A database whose killed predecessor's children are not gone yet tries again at once."""
    record = Record()
    flaky = (
        "import pathlib, sys, time\n"
        "tries = pathlib.Path(sys.argv[1], 'tries')\n"
        "tries.write_text((tries.read_text() if tries.exists() else '') + 'x')\n"
        "if len(tries.read_text()) < 8: sys.exit(1)\n"
        "pathlib.Path(sys.argv[1], 'up').touch()\n"
        "time.sleep(60)\n"
    )

    async def scenario() -> None:
        supervisor = record.supervisor()
        part = Part(
            "database",
            [sys.executable, "-c", flaky, str(tmp_path)],
            answers=file_appears(tmp_path / "up"),
            not_its_fault=lambda: True,
        )
        await supervisor.start([part])
        await supervisor.stop()

    asyncio.run(scenario())
    assert (tmp_path / "tries").read_text() == "x" * 8
    assert not any("started again" in line for line in record.lines)
