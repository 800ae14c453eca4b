"""One part of the system as a child process: what it is, how it starts, when it answers."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
from asyncio.subprocess import Process
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from launch.accounts import die_with_parent, run_as
from launch.out import Say

_LONGEST_LINE: Final = 4_000


async def _always() -> bool:
    return True


def _never() -> bool:
    return False


def _nothing() -> None:
    return None


@dataclass(frozen=True)
class Part:
    """A child that runs until it is stopped, or, as a step, until it is done.

    `environment` is the whole of it. `answers` tells whether it works; `before` runs ahead of every
    start; `not_its_fault` tells, when it ended before it answered, that it may be tried again
    without counting as a death (as long as `ready_within_s`).
    """

    name: str
    command: Sequence[str]
    environment: Mapping[str, str] = field(default_factory=lambda: dict(os.environ))
    account: str | None = None
    answers: Callable[[], Awaitable[bool]] = _always
    before: Callable[[], None] = _nothing
    not_its_fault: Callable[[], bool] = _never
    stop_signal: signal.Signals = signal.SIGTERM
    ready_within_s: float = 60.0
    log: Path | None = None


async def spawn(part: Part) -> Process:
    """Start the part in a session of its own, so that Ctrl-C reaches it through us only."""
    part.before()
    log = None if part.log is None else part.log.open("ab")
    try:
        return await asyncio.create_subprocess_exec(
            *part.command,
            stdin=subprocess.DEVNULL,
            stdout=log or subprocess.PIPE,
            stderr=log or subprocess.STDOUT,
            env=dict(part.environment),
            cwd="/" if part.account else None,
            start_new_session=True,
            preexec_fn=die_with_parent(part.stop_signal),
            **run_as(part.account),
        )
    finally:
        if log is not None:
            log.close()


async def pump(part: Part, child: Process, say: Say) -> None:
    """Pass the child's lines on, each with the part's name before it."""
    if child.stdout is None:
        return
    rest = b""
    while chunk := await child.stdout.read(65_536):
        *lines, rest = (rest + chunk).split(b"\n")
        for line in lines:
            say(_line(part, line))
        if len(rest) > _LONGEST_LINE:
            say(_line(part, rest))
            rest = b""
    if rest:
        say(_line(part, rest))


def _line(part: Part, line: bytes) -> str:
    return f"{part.name:>9} | {line[:_LONGEST_LINE].decode('utf-8', 'replace').rstrip()}"


def send(child: Process, number: signal.Signals) -> None:
    """Signal the child and what it started; nothing when they are gone."""
    try:
        os.killpg(child.pid, number)
    except ProcessLookupError:
        return


def how_it_ended(code: int | None) -> str:
    """An exit code in words."""
    if code is not None and code < 0:
        return f"killed by {signal.Signals(-code).name}"
    return f"exit code {code}"
