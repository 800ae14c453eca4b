"""A real browser and boards over fake plants."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.browser import fake_api
from tests.browser.stand import CHROMIUM, FLAGS, SIZES, Board, running_board


@pytest.fixture(scope="session")
def boards() -> Iterator[Callable[[str], Board]]:
    """A board for each plant by name, kept for the session."""
    kept: dict[str, tuple[object, Board]] = {}

    def get(name: str) -> Board:
        if name not in kept:
            manager = running_board(getattr(fake_api, name))
            kept[name] = (manager, manager.__enter__())
        return kept[name][1]

    yield get
    for manager, _ in kept.values():
        manager.__exit__(None, None, None)


@pytest.fixture
def quick_board() -> Iterator[Board]:
    """A board of the test's own that is asked every second."""
    with running_board(fake_api.plant_of_21, refresh_s=1.0) as board:
        yield board


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    """Headless Chromium. Skips without one, unless the browser is required.

    One a module, not one a session: while it lives its event loop counts as running in this
    thread, and no other module's test could run one of its own.
    """
    sync_api = pytest.importorskip("playwright.sync_api")
    if not Path(CHROMIUM).exists():
        reason = f"no Chromium at {CHROMIUM}; set CHROMIUM"
        if os.environ.get("DUESTROKE_REQUIRE_BROWSER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_api.sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield made
        made.close()


@dataclass
class Opened:
    """A page, and what went wrong on it: console errors, failed or foreign requests."""

    page: object
    wrong: list[str]


@pytest.fixture
def open_page(browser: object) -> Iterator[Callable[..., Opened]]:
    """Opens an address in a context of its own; nothing off the loopback host is let through."""
    contexts = []

    def opening(url: str, size: tuple[int, int] = SIZES[1], scheme: str = "light") -> Opened:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            reduced_motion="reduce",
            locale="en-GB",
            timezone_id="UTC",
        )
        contexts.append(context)
        wrong: list[str] = []
        context.route("**/*", lambda route: _local_only(route, wrong))
        page = context.new_page()
        page.on("console", lambda m: wrong.append(m.text) if m.type in ("error", "warning") else 0)
        page.on("pageerror", lambda fault: wrong.append(str(fault)))
        page.on("response", lambda r: wrong.append(f"{r.status} {r.url}") if r.status > 399 else 0)
        page.goto(url)
        page.wait_for_selector("#board .head", timeout=20_000)
        return Opened(page, wrong)

    yield opening
    for context in contexts:
        context.close()


def _local_only(route: object, wrong: list[str]) -> None:
    if route.request.url.startswith("http://127.0.0.1:"):
        route.continue_()
    else:
        wrong.append(f"off the host: {route.request.url}")
        route.abort()
