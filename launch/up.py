"""`duestroke up` and `duestroke demo`: everything on one machine, under one supervisor."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import time
from collections.abc import AsyncIterator
from importlib.metadata import version
from typing import Final

from launch import datadir, parts, ready
from launch.embedded import Options, Prepared, prepare
from launch.out import Out, Say
from launch.supervisor import GaveUp, Pids, Stopped, Supervisor

_FLUSH_EVERY_S: Final = 0.2


def run(options: Options) -> int:
    """Run until stopped; the exit code.

    Raises Refused, PortTaken, PostgresFailed or BadSetting, each in one line, before anything runs.
    """
    with datadir.held(options.data_dir, options.kind):
        _remove_ready_file(options)
        try:
            return asyncio.run(_run(options))
        finally:
            _remove_ready_file(options)


def _remove_ready_file(options: Options) -> None:
    """It is there while all parts answer: not before, and not after a stop."""
    if options.ready_file is not None:
        options.ready_file.unlink(missing_ok=True)


async def _run(options: Options) -> int:
    async with _output() as say:
        began = time.monotonic()
        say(f"duestroke {version('duestroke')} {options.kind}")
        watch = _Watch(options)
        supervisor = Supervisor(say, watch.changed)
        _stop_on_signals(supervisor)
        prepared = prepare(options, say)
        try:
            return await _serve(options, prepared, supervisor, watch, say, began)
        finally:
            await supervisor.stop()
            say("everything has stopped; the next start goes on from here")


async def _serve(
    options: Options,
    prepared: Prepared,
    supervisor: Supervisor,
    watch: _Watch,
    say: Say,
    began: float,
) -> int:
    """Start all parts and keep them until a stop (0) or until one can't be kept (1)."""
    try:
        await _start(options, prepared, supervisor, say)
        watch.all_answer(prepared, supervisor.pids)
        say(f"all parts answer, {time.monotonic() - began:.0f} s after the start")
        ready.say_where(prepared.run, say)
        await supervisor.run()
        say("stopping")
    except Stopped:
        say("stopped before all parts answered")
    except GaveUp as gave_up:
        say(f"stopping with exit code 1: {gave_up}")
        return 1
    return 0


async def _start(options: Options, prepared: Prepared, supervisor: Supervisor, say: Say) -> None:
    """In order: what holds data, its schema, a demo's past, what works on it, what shows it."""
    run_ = prepared.run
    say("starting the database and the broker")
    servers = [parts.broker_part(prepared.broker)]
    if prepared.cluster is not None:
        servers.insert(0, parts.postgres_part(prepared.cluster))
    await supervisor.start(servers)
    say("bringing the database's schema up to date")
    await supervisor.step(parts.migrate_step(run_))
    if options.kind == "demo":
        say("loading the demo plant's history, or finding it loaded")
        await supervisor.step(parts.history_step(run_))
    say("starting ingest, engine and API")
    await supervisor.start([parts.ingest_part(run_), parts.engine_part(run_), parts.api_part(run_)])
    say("starting the board")
    await supervisor.start([parts.board_part(run_)])
    if options.kind == "demo":
        say("starting the simulated presses")
        await supervisor.start([parts.simulator_part(run_)])


class _Watch:
    """Notes the pids of what runs, and once all parts answer, keeps the ready file true."""

    def __init__(self, options: Options) -> None:
        self._options = options
        self._ready: Prepared | None = None

    def changed(self, pids: Pids) -> None:
        """A part came up anew."""
        datadir.note_pids(self._options.data_dir, pids)
        if self._ready is not None and self._options.ready_file is not None:
            ready.write(self._options.ready_file, self._ready.run, pids)

    def all_answer(self, prepared: Prepared, pids: Pids) -> None:
        """From now on there is a ready file."""
        self._ready = prepared
        self.changed(pids)


def _stop_on_signals(supervisor: Supervisor) -> None:
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, supervisor.request_stop)
    if hasattr(signal, "SIGHUP"):
        # The terminal was closed: stop too, rather than die and leave it to the children.
        loop.add_signal_handler(signal.SIGHUP, supervisor.request_stop)


@contextlib.asynccontextmanager
async def _output() -> AsyncIterator[Say]:
    """Lines to stdout; what the reader did not take at once follows as it reads."""
    out = Out()

    async def flush() -> None:
        while True:
            await asyncio.sleep(_FLUSH_EVERY_S)
            out.flush()

    flusher = asyncio.create_task(flush())
    try:
        yield out.say
    finally:
        flusher.cancel()
        out.flush()
