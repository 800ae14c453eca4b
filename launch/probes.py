"""How the supervisor asks a part whether it works."""

from __future__ import annotations

import asyncio
import subprocess
from collections.abc import Awaitable, Callable
from pathlib import Path

from launch import broker, postgres
from launch.accounts import run_as

Probe = Callable[[], Awaitable[bool]]


def file_appears(file: Path) -> Probe:
    """A part that has touched its beat file since it was started works."""

    return _at_once(file.exists)


def _at_once(ask: Callable[[], bool]) -> Probe:
    """A question that is answered without waiting."""

    async def answers() -> bool:
        return ask()

    return answers


def http_ok(host: str, port: int, path: str) -> Probe:
    """A server that answers 200 at this path works."""

    async def answers() -> bool:
        try:
            async with asyncio.timeout(5):
                return b" 200 " in await _status_line(host, port, path)
        except (OSError, TimeoutError):
            return False

    return answers


async def _status_line(host: str, port: int, path: str) -> bytes:
    reader, writer = await asyncio.open_connection(host, port)
    try:
        head = f"GET {path} HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n"
        writer.write(head.encode())
        await writer.drain()
        return await reader.readline()
    finally:
        writer.close()


def broker_answers(made: broker.Broker) -> Probe:
    """Both ports take connections."""
    return _at_once(made.answers)


def postgres_answers(cluster: postgres.Cluster) -> Probe:
    """The server takes connections: not while it starts or recovers."""

    async def answers() -> bool:
        asked = await asyncio.create_subprocess_exec(
            *cluster.ask_command, cwd="/", stdin=subprocess.DEVNULL, **run_as(cluster.account)
        )
        return await asked.wait() == 0

    return answers
