"""What must not be on any page: badly set text, findings of axe, console and network trouble."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

MEASURE = (Path(__file__).parent / "measure.js").read_text()
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def faults_on(page: Any, wrong: Sequence[str]) -> list[Any]:
    """All faults of a page as it stands; wrong: console errors, failed or foreign requests so far.

    WCAG 2.0 to 2.2, levels A and AA, by axe-core; text measured by its own boxes.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found = axe.run(page, options={"runOnly": WCAG}).response["violations"]
    named = [(each["id"], each["nodes"][0]["html"]) for each in found]
    return [*page.evaluate(MEASURE), *named, *wrong]


def faults_of(opened: Any) -> list[Any]:
    """The same of a page opened by the fixture `open_page`."""
    return faults_on(opened.page, opened.wrong)
