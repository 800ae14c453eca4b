"""The stand of the browser tests: the board on a free port over the fake API, in this process."""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Self

import uvicorn

from dashboard.app import create_app
from tests.browser.fake_api import NOW, TOKEN, FakeApi, Plant

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
SIZES = ((1920, 1080), (1280, 800), (1024, 768))
SCHEMES = ("light", "dark")


@dataclass
class Clock:
    """The board's and the fake API's time; stands still until a test moves it."""

    at: datetime = NOW

    def __call__(self) -> datetime:
        return self.at


def _config(app: object) -> uvicorn.Config:
    return uvicorn.Config(app, log_level="error", ws="none", timeout_graceful_shutdown=1)


class Serving:
    """An ASGI app under uvicorn on a free loopback port, in a thread of this process."""

    def __init__(self, app: object) -> None:
        self._socket = socket.socket()
        self._socket.bind(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        self._server = uvicorn.Server(_config(app))
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, daemon=True
        )

    def __enter__(self) -> Self:
        self._thread.start()
        deadline = time.monotonic() + 20
        while not self._server.started:
            if time.monotonic() > deadline:
                raise TimeoutError("the board did not start within 20 s")
            time.sleep(0.02)
        return self

    def __exit__(self, *_: object) -> None:
        self.die()

    def die(self) -> None:
        """Stop answering."""
        self._server.should_exit = True
        self._thread.join(10)
        self._socket.close()


@dataclass
class Board:
    """A running board and what stands behind it."""

    url: str
    api: FakeApi
    clock: Clock
    serving: Serving


@contextmanager
def running_board(plant: Callable[[datetime], Plant], *, refresh_s: float = 5.0) -> Iterator[Board]:
    """A board of its own over a fake plant."""
    clock = Clock()
    with FakeApi(plant, clock) as api:
        app = create_app(api_url=api.url, token=TOKEN, refresh_s=refresh_s, now=clock)
        with Serving(app) as serving:
            yield Board(serving.url, api, clock, serving)
