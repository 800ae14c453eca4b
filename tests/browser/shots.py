"""Draw the pages in every size and scheme into docs/shots, to be looked at.

    python -m tests.browser.shots [--board URL --name demo] [--only TEXT] [--out FOLDER]

Without a URL the pages come from the tests' fixed plants, so that two runs can be compared. With
one, a running board is drawn as it stands.
"""

from __future__ import annotations

import argparse
import base64
import struct
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser import fake_api
from tests.browser.stand import CHROMIUM, FLAGS, SCHEMES, SIZES, running_board

SHOTS = Path(__file__).parents[2] / "docs" / "shots"
VIEWS = {
    "shift": "/",
    "wall": "/?view=wall",
    "press": "/press/harlow-mere/2/05",
    "tool": "/tool/IR25-0590",
    "life": "/life?kind=ironing-ring&position=ring-3",
    "tool-room": "/tool-room",
    "trace": "/trace?site=harlow-mere&line=2&press=05&at=2026-11-14T02:15",
}
PRESSES = {"overdue": ("2/03", ""), "cant-tell": ("3/02", ""), "opened": ("2/05", "ring-1")}
"""More pictures of press pages: which press, and which row stands open."""

SIGNED = {
    "sign-in": ("/sign-in", ""),
    "records": ("/records", "engineer-token-of-the-tests"),
    "entry": (
        "/entry?press=harlow-mere/2/03&position=ring-3&reason=worn&serial=IR26-0231-5",
        "crew-token-of-the-tests",
    ),
}
"""Pages that are drawn for somebody: address, and the token to sign in with."""

TO_PALETTE = """
async (data) => {
  const picture = await createImageBitmap(await (await fetch("data:image/png;base64," + data)).blob());
  const canvas = new OffscreenCanvas(picture.width, picture.height);
  const brush = canvas.getContext("2d");
  brush.drawImage(picture, 0, 0);
  const pixels = new Uint32Array(brush.getImageData(0, 0, canvas.width, canvas.height).data.buffer);
  const counts = new Map();
  for (const pixel of pixels) { counts.set(pixel, (counts.get(pixel) || 0) + 1); }
  const apart = (a, b) => [0, 8, 16].reduce((sum, bits) => sum + Math.abs(((a >> bits) & 255) - ((b >> bits) & 255)), 0);
  const common = [...counts.entries()].sort((a, b) => b[1] - a[1]).map(([pixel]) => pixel);
  const palette = [];
  for (const pixel of common) {
    if (palette.length < 40 && palette.every((each) => apart(each, pixel) > 30)) { palette.push(pixel); }
  }
  const places = new Map(palette.map((pixel, at) => [pixel, at]));
  const nearest = (pixel) => palette.reduce((best, each, at) => apart(each, pixel) < apart(palette[best], pixel) ? at : best, 0);
  const indices = new Uint8Array(pixels.length);
  pixels.forEach((pixel, at) => {
    if (!places.has(pixel)) { places.set(pixel, nearest(pixel)); }
    indices[at] = places.get(pixel);
  });
  let text = "";
  for (let at = 0; at < indices.length; at += 32768) {
    text += String.fromCharCode(...indices.subarray(at, at + 32768));
  }
  return { width: canvas.width, height: canvas.height, indices: btoa(text),
           palette: palette.flatMap((p) => [p & 255, (p >> 8) & 255, (p >> 16) & 255]) };
}
"""  # noqa: E501 - JavaScript


def chunk(name: bytes, content: bytes) -> bytes:
    """One chunk of a PNG file. Source: PNG specification (W3C, third edition), 5.3."""
    check = zlib.crc32(name + content)
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", check)


def small_png(helper: Page, png: bytes) -> bytes:
    """The picture again in at most 40 colours, the commonest that differ: smaller, alike to see."""
    made: dict[str, Any] = helper.evaluate(TO_PALETTE, base64.b64encode(png).decode())
    width, height = made["width"], made["height"]
    indices = base64.b64decode(made["indices"])
    lines = b"".join(b"\0" + indices[at : at + width] for at in range(0, width * height, width))
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
            chunk(b"PLTE", bytes(made["palette"])),
            chunk(b"IDAT", zlib.compress(lines, 9)),
            chunk(b"IEND", b""),
        ]
    )


def pictures(name: str, sizes: Any, schemes: Any) -> Iterator[tuple[str, str, Any, str]]:
    """File name, path, size and scheme of each picture of a board."""
    for view, path in VIEWS.items():
        start = name if name.endswith(view) else f"{name}-{view}" if name else view
        if name.endswith(tuple(VIEWS)) and not name.endswith(view):
            continue
        for size in sizes:
            for scheme in schemes:
                yield f"{start}-{size[0]}-{scheme}.png", path, size, scheme


@contextmanager
def fixed(plant: str) -> Iterator[str]:
    """A board over one of the tests' plants; gives its address."""
    with running_board(getattr(fake_api, plant)) as board:
        yield board.url


def draw(
    browser: Browser,
    url: str,
    size: tuple[int, int],
    scheme: str,
    opening: str = "",
    token: str = "",
) -> bytes:
    """One picture: the whole page, on the wall the screen.

    opening: the row to open first.  token: to sign in with.
    """
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce"
    )
    with closing(context):
        if token:
            context.request.post(urljoin(url, "/sign-in"), data={"token": token})
        page = context.new_page()
        page.goto(url)
        page.wait_for_selector("#board .care, #board main, #board .wall")
        if opening:
            page.click(f"button[data-open={opening}]")
            page.wait_for_selector(".row.opened")
        return page.screenshot(full_page="view=wall" not in url)


def main() -> None:
    """Draw what was asked for, and say what was written."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--board", help="address of a running board")
    parser.add_argument("--name", default="demo", help="how its files begin")
    parser.add_argument("--only", default="", help="only files whose name holds this")
    parser.add_argument("--out", type=Path, default=SHOTS, help="folder")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    few = (SIZES[1:2], SCHEMES[:1])
    sets = (
        [(asked.name, nullcontext(asked.board), SIZES[:1], SCHEMES)]
        if asked.board
        else [
            ("", fixed("plant_of_21"), SIZES, SCHEMES),
            ("sixty-wall", fixed("plant_of_60"), SIZES, SCHEMES[:1]),
            ("first-day-shift", fixed("plant_of_none"), *few),
            ("no-stops-shift", fixed("plant_of_3"), *few),
            ("silent-shift", fixed("plant_all_silent"), *few),
            ("in-stop-shift", fixed("plant_in_stop"), *few),
        ]
    )
    with (
        sync_playwright() as playwright,
        closing(playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)) as browser,
    ):
        helper = browser.new_page()
        for name, board, sizes, schemes in sets:
            with board as url:
                for file, path, size, scheme in pictures(name, sizes, schemes):
                    if asked.only in file:
                        png = small_png(helper, draw(browser, url.rstrip("/") + path, size, scheme))
                        (asked.out / file).write_bytes(png)
                        print(f"{file}  {len(png) / 1000:.0f} kB")
        if not asked.board:
            draw_presses(browser, helper, asked.only, asked.out)
            draw_signed_in(browser, helper, asked.only, asked.out)


def draw_presses(browser: Browser, helper: Page, only: str, out: Path) -> None:
    """The press page in its other states, in one size and scheme."""
    with fixed("plant_of_21") as url:
        for state, (name, opening) in PRESSES.items():
            file = f"{state}-press-{SIZES[1][0]}-{SCHEMES[0]}.png"
            if only in file:
                path = f"{url}/press/harlow-mere/{name}"
                png = draw(browser, path, SIZES[1], SCHEMES[0], opening)
                (out / file).write_bytes(small_png(helper, png))
                print(file)


def draw_signed_in(browser: Browser, helper: Page, only: str, out: Path) -> None:
    """Signing in, and entry by the crew with a form that is filled."""
    with fixed("plant_of_21") as url:
        for size in SIZES:
            for scheme in SCHEMES:
                for name, (path, token) in SIGNED.items():
                    file = f"{name}-{size[0]}-{scheme}.png"
                    if only in file:
                        png = draw(browser, url + path, size, scheme, token=token)
                        (out / file).write_bytes(small_png(helper, png))
                        print(file)


if __name__ == "__main__":
    main()
