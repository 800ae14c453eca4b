"""Keeps parts running: started in order, started again when they die, stopped in reverse."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import time
from asyncio.subprocess import Process
from collections import deque
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any, Final

from launch.out import Say
from launch.part import Part, how_it_ended, pump, send, spawn

DEATHS: Final = 5
WITHIN_S: Final = 60.0
PAUSES_S: Final = (0.25, 0.5, 1.0, 2.0)
# All parts together get this long to stop, so that the whole is over within ten seconds.
STOP_S: Final = 8.5
_ASK_EVERY_S: Final = 0.05

Pids = Mapping[str, int]


class GaveUp(Exception):
    """A part can't be kept running, or a step failed; the message names it."""


class Stopped(Exception):
    """A stop was asked for while something was being started."""


class Deaths:
    """Counts a part's deaths and says how long to wait before it is started again."""

    def __init__(self) -> None:
        self._times: deque[float] = deque(maxlen=DEATHS)

    def pause_after(self, at: float) -> float | None:
        """Seconds to wait after a death at `at` (monotonic); None when it was one too many."""
        self._times.append(at)
        recent = sum(1 for time_ in self._times if at - time_ <= WITHIN_S)
        return None if recent >= DEATHS else PAUSES_S[recent - 1]


class Supervisor:
    """Parts as children of this process. `changed` gets the pids whenever one came up anew."""

    def __init__(self, say: Say, changed: Callable[[Pids], None]) -> None:
        self._say = say
        self._changed = changed
        self._children: dict[str, Process] = {}
        self._levels: list[list[Part]] = []
        self._keepers: list[asyncio.Task[None]] = []
        self._stop = asyncio.Event()
        self._failure: asyncio.Future[str] = asyncio.get_running_loop().create_future()

    @property
    def pids(self) -> dict[str, int]:
        """Process ids of what runs now, in the order of starting."""
        return {name: child.pid for name, child in self._children.items()}

    def request_stop(self) -> None:
        """Let whatever waits end with Stopped; `stop` then does the stopping."""
        self._stop.set()

    async def start(self, parts: Sequence[Part]) -> None:
        """Start these together and wait until each answers. Raises GaveUp or Stopped."""
        self._levels.append(list(parts))
        ready = [asyncio.Event() for _ in parts]
        for part, event in zip(parts, ready, strict=True):
            self._keepers.append(asyncio.create_task(self._keep(part, event)))
        await self._unless_ended(asyncio.gather(*(event.wait() for event in ready)))

    async def step(self, part: Part) -> None:
        """Run a child to its end. Raises GaveUp when it fails, Stopped when a stop came first."""
        child = await spawn(part)
        self._children[part.name] = child
        self._changed(self.pids)
        try:
            await self._unless_ended(self._wait(part, child))
        finally:
            await self._end(part, child, STOP_S / 2)
            self._children.pop(part.name, None)
        if child.returncode != 0:
            raise GaveUp(f"{part.name} failed ({how_it_ended(child.returncode)})")

    async def run(self) -> None:
        """Return when a stop is asked for; raises GaveUp when a part died too often."""
        with contextlib.suppress(Stopped):
            await self._unless_ended(asyncio.Event().wait())

    async def stop(self) -> None:
        """Stop everything in reverse order; what does not go in time is killed."""
        self._stop.set()
        deadline = time.monotonic() + STOP_S
        for level in reversed(self._levels):
            # The first started, which hold the data, keep the larger half of what time is left.
            within = max((deadline - time.monotonic()) / 2, 0.5)
            await asyncio.gather(*(self._end_part(part, within) for part in reversed(level)))
        await asyncio.gather(*self._keepers)

    async def _unless_ended(self, wanted: Awaitable[object]) -> None:
        """Wait for what is wanted, a stop or a failure, whichever comes first."""
        goal: asyncio.Future[Any] = asyncio.ensure_future(wanted)
        stop = asyncio.create_task(self._stop.wait())
        ends: set[asyncio.Future[Any]] = {goal, stop, self._failure}
        try:
            await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
            if self._failure.done():
                raise GaveUp(self._failure.result())
            if not goal.done():
                raise Stopped
            await goal
        finally:
            for task in (goal, stop):
                task.cancel()
            await asyncio.gather(goal, stop, return_exceptions=True)

    async def _keep(self, part: Part, ready: asyncio.Event) -> None:
        """Keep one part running until a stop; give up after too many deaths."""
        deaths = Deaths()
        while not self._stop.is_set():
            code = await self._live(part, ready)
            if self._stop.is_set():
                return
            pause = deaths.pause_after(time.monotonic())
            if pause is None:
                self._fail(f"{part.name} ended {DEATHS} times within a minute, last with {code}")
                return
            self._say(f"{part.name} ended ({code}); it is started again in {pause} s")
            await self._sleep(pause)

    async def _live(self, part: Part, ready: asyncio.Event) -> str:
        """One life of a part, from start to end; how it ended, in words."""
        until = time.monotonic() + part.ready_within_s
        while True:
            child = await spawn(part)
            self._children[part.name] = child
            if self._stop.is_set():  # asked for while it was being started: `stop` missed it
                await self._end(part, child, STOP_S / 4)
            reading = asyncio.create_task(self._wait(part, child))
            if await self._answered(part, child, until):
                ready.set()
                self._changed(self.pids)
            elif child.returncode is None and not self._stop.is_set():
                self._say(f"{part.name} did not answer within {part.ready_within_s:.0f} s")
                send(child, signal.SIGKILL)
            elif part.not_its_fault() and time.monotonic() < until and not self._stop.is_set():
                await reading
                await self._sleep(0.2)
                continue
            await reading
            if self._children.get(part.name) is child and not self._stop.is_set():
                del self._children[part.name]
            return how_it_ended(child.returncode)

    async def _answered(self, part: Part, child: Process, until: float) -> bool:
        """Whether the part answers before it ends, its time is up, or a stop is asked for."""
        while child.returncode is None and not self._stop.is_set() and time.monotonic() < until:
            if await part.answers() and child.returncode is None:
                return True
            await self._sleep(_ASK_EVERY_S)
        return False

    async def _wait(self, part: Part, child: Process) -> None:
        """Until the child has ended and its last lines were passed on."""
        lines = asyncio.create_task(pump(part, child, self._say))
        await child.wait()
        # A grandchild may hold the pipe open; its lines are not waited for.
        await asyncio.wait({lines}, timeout=0.5)
        lines.cancel()

    async def _end_part(self, part: Part, within: float) -> None:
        child = self._children.get(part.name)
        if child is not None:
            await self._end(part, child, within)

    async def _end(self, part: Part, child: Process, within: float) -> None:
        """Ask the child to end, then make it."""
        if child.returncode is None:
            send(child, part.stop_signal)
            try:
                await asyncio.wait_for(child.wait(), within)
            except TimeoutError:
                self._say(f"{part.name} did not stop within {within:.1f} s and was killed")
        # Also where the leader is gone: it may have left children in its group.
        send(child, signal.SIGKILL)
        await child.wait()

    def _fail(self, reason: str) -> None:
        if not self._failure.done():
            self._failure.set_result(reason)

    async def _sleep(self, seconds: float) -> None:
        """Sleep, but not into a stop."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._stop.wait(), seconds)
