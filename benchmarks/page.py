"""What the board's pages cost a browser, beside an empty Dash page loaded in turn in the same run.

    python -m benchmarks.page [--loads 5]

Prints, for the fleet page (60 presses) and for the page of one press, the main thread's CPU of a
cold load and of a refresh in which every row moves, the bytes on the wire, and whether nodes
outlive the refresh. Ratios count; absolute times depend on the machine. Exit code 1 when a budget
is broken: load at most 2.0 times the empty page, refresh at most 0.5 times.
"""

from __future__ import annotations

import argparse
import sys
import time
from contextlib import closing
from datetime import timedelta
from statistics import median
from typing import Any
from urllib.parse import urljoin

from dash import Dash, Input, Output, html
from playwright.sync_api import Browser, CDPSession, Page, sync_playwright
from starlette.middleware.gzip import GZipMiddleware

from dashboard import site
from tests.browser import fake_api
from tests.browser.stand import CHROMIUM, FLAGS, Board, Serving, running_board

LOAD_BUDGET, REFRESH_BUDGET, BYTES_BUDGET = 2.0, 0.5, 100_000
SETTLE_S = 0.4
COUNT_NODES = "document.querySelectorAll('*').length"


def empty_page() -> Any:
    """A Dash page with one callback and nothing else: the floor."""
    dash = Dash("benchmarks.page", backend="fastapi", update_title="")
    dash.backend.websocket_capability = False
    dash.layout = html.Div([html.Div(id="in"), html.Div(id="out")])

    @dash.callback(Output("out", "children"), Input("in", "id"))
    def hello(_: str) -> str:
        return "hello"

    dash.server.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    return dash.server


def cpu_ms(session: CDPSession) -> float:
    """Main-thread time of the page so far."""
    metrics = session.send("Performance.getMetrics")["metrics"]
    return 1000 * next(each["value"] for each in metrics if each["name"] == "TaskDuration")


class Loaded:
    """One cold load in a context of its own."""

    def __init__(self, browser: Browser, url: str, ready: str, *, token: str = "") -> None:
        self._context = browser.new_context(viewport={"width": 1920, "height": 1080})
        if token:
            self._context.request.post(urljoin(url, "/sign-in"), data={"token": token})
        self.page: Page = self._context.new_page()
        self.session = self._context.new_cdp_session(self.page)
        self.session.send("Performance.enable", {"timeDomain": "threadTicks"})
        self.session.send("Network.enable")
        self.session.on("Network.loadingFinished", self._count)
        self.bytes = 0.0
        begin = time.perf_counter()
        self.page.goto(url)
        self.page.wait_for_selector(ready)
        self.wall_ms = 1000 * (time.perf_counter() - begin)
        time.sleep(SETTLE_S)
        self.cpu_ms = cpu_ms(self.session)

    def _count(self, finished: Any) -> None:
        self.bytes += finished["encodedDataLength"]

    def close(self) -> None:
        """Give the context back."""
        self._context.close()


PAGES = {
    "fleet": ("", ".fleet .row:nth-child(60)", ".fleet .row", 60),
    "press": ("/press/harlow-mere/2/05", ".stack .row:nth-child(9)", ".stack .row", 9),
}
"""Address, what stands once it is drawn, its rows, and how many."""


def refresh(loaded: Loaded, board: Board, row: str) -> tuple[float, int, int]:
    """CPU of one refresh that moves every row; rows after it, rows kept through it."""
    page = loaded.page
    page.evaluate(f"document.querySelectorAll('{row}').forEach(n => {{ n.before = true }})")
    before = page.locator(".now").inner_text()
    start = cpu_ms(loaded.session)
    board.clock.at += timedelta(hours=2)
    # Asked five times a second: asking at each frame would cost more than the refresh itself.
    page.wait_for_function(
        "text => document.querySelector('.now').innerText !== text", arg=before, polling=200
    )
    time.sleep(SETTLE_S)
    spent = cpu_ms(loaded.session) - start
    rows = f"[...document.querySelectorAll('{row}')]"
    kept = page.evaluate(f"{rows}.filter(n => n.before).length")
    return spent, page.evaluate(f"{rows}.length"), kept


ADDRESSES = {
    "press": "/press/harlow-mere/2/05",
    "tool": "/tool/IR25-0590",
    "life": "/life?kind=ironing-ring&position=ring-3",
    "trace": "/trace?site=harlow-mere&line=2&press=05&at=2026-11-14T02:15",
    "entry": "/entry?press=harlow-mere/2/03&position=ring-3",
    "records": "/records",
}
"""Where a page's own path says too little, by view."""

ENGINEER = "engineer-token-of-the-tests"


def weights(browser: Browser, board: Board) -> dict[str, tuple[float, int]]:
    """Bytes on the wire of a cold load, and nodes drawn, of every page of the board."""
    found = {}
    for page in site.PAGES:
        url = board.url + ADDRESSES.get(page.view, page.path)
        with closing(Loaded(browser, url, "#board main, #board form", token=ENGINEER)) as loaded:
            found[page.title] = (loaded.bytes, loaded.page.evaluate(COUNT_NODES))
    return found


def measure(loads: int) -> dict[str, list[float]]:
    """Every figure of every load, empty page and fleet page in turn."""
    found: dict[str, list[float]] = {}

    def note(name: str, value: float) -> None:
        found.setdefault(name, []).append(value)

    with (
        running_board(fake_api.plant_of_60, refresh_s=2.0) as board,
        Serving(empty_page()) as empty,
        sync_playwright() as playwright,
        closing(playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)) as browser,
    ):
        for _ in range(loads):
            with closing(Loaded(browser, empty.url, "text=hello")) as hello:
                note("empty cpu", hello.cpu_ms)
                note("empty wall", hello.wall_ms)
                note("empty bytes", hello.bytes)
            for name, (path, ready, row, _) in PAGES.items():
                with closing(Loaded(browser, board.url + path, ready)) as page:
                    note(f"{name} cpu", page.cpu_ms)
                    note(f"{name} wall", page.wall_ms)
                    note(f"{name} bytes", page.bytes)
                    note(f"{name} nodes", page.page.evaluate(COUNT_NODES))
                    spent, rows, kept = refresh(page, board, row)
                    note(f"{name} refresh cpu", spent)
                    note(f"{name} rows", rows)
                    note(f"{name} kept", kept)
        for title, (size, nodes) in weights(browser, board).items():
            note(f"{title} weight", size)
            note(f"{title} weight nodes", nodes)
    return found


def main() -> int:
    """Measure, print, judge."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--loads", type=int, default=5, help="cold loads of each page")
    found = {name: median(values) for name, values in measure(parser.parse_args().loads).items()}
    print(f"empty page   cpu {found['empty cpu']:6.0f} ms   wall {found['empty wall']:6.0f} ms   "
          f"{found['empty bytes'] / 1000:6.0f} kB")  # fmt: skip
    good = [judge(name, found) for name in PAGES]
    print("on the wire, cold, of every page (kB over the empty page, nodes):")
    for page in site.PAGES:
        more = found[f"{page.title} weight"] - found["empty bytes"]
        print(
            f"  {page.title:<16} {more / 1000:+6.0f} kB {found[f'{page.title} weight nodes']:8.0f}"
        )
    return 0 if all(good) else 1


def judge(name: str, found: dict[str, float]) -> bool:
    """Print a page's figures and whether it keeps its budgets."""
    load = found[f"{name} cpu"] / found["empty cpu"]
    again = found[f"{name} refresh cpu"] / found["empty cpu"]
    more = found[f"{name} bytes"] - found["empty bytes"]
    rows, kept = found[f"{name} rows"], found[f"{name} kept"]
    print(f"{name} page   cpu {found[f'{name} cpu']:6.0f} ms   wall "
          f"{found[f'{name} wall']:6.0f} ms   {found[f'{name} bytes'] / 1000:6.0f} kB   "
          f"{found[f'{name} nodes']:.0f} nodes")  # fmt: skip
    print(f"  load cpu     {load:.2f} x empty   (at most {LOAD_BUDGET})")
    print(f"  refresh cpu  {again:.2f} x empty   (at most {REFRESH_BUDGET})")
    print(f"  bytes        {more / 1000:+.0f} kB over empty   (at most {BYTES_BUDGET / 1000:.0f})")
    print(f"  rows kept    {kept:.0f} of {rows:.0f} through a refresh")
    return (
        load <= LOAD_BUDGET
        and again <= REFRESH_BUDGET
        and more <= BYTES_BUDGET
        and kept == rows == PAGES[name][3]
    )


if __name__ == "__main__":
    sys.exit(main())
