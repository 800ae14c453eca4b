"""One tool's page in a real browser."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser import fake_api
from tests.browser.faults import faults_of
from tests.browser.stand import SCHEMES, SIZES

pytestmark = pytest.mark.browser


def serial_at(press, position):
    plant = fake_api.plant_of_21(fake_api.NOW)
    return next(
        fake_api.serial_of(tool)
        for tool in plant.tools
        if (tool.press, tool.position) == (f"harlow-mere/{press}", position)
    )


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size[0]))
def test_a_tool_is_shown_whole_in_every_size_and_scheme(boards, open_page, size, scheme):
    serial = serial_at("2/03", "ring-3")
    opened = open_page(f"{boards('plant_of_21').url}/tool/{serial}", size, scheme)
    page = opened.page
    expect(page.locator(".panel")).to_have_count(5)
    expect(page.locator(".pastramps li").first).to_be_attached()
    expect(page.locator(".title h1")).to_contain_text(serial)
    expect(page.locator(".chart")).to_contain_text("Part of the limit used up")
    assert faults_of(opened) == []


def test_every_reading_can_be_read_and_taken_away(boards, open_page):
    serial = serial_at("2/03", "ring-3")
    opened = open_page(f"{boards('plant_of_21').url}/tool/{serial}")
    page = opened.page
    page.focus(".plot")
    page.keyboard.press("ArrowRight")
    expect(page.locator(".readout")).to_contain_text("um at")
    with page.expect_download() as download:
        page.click("button[data-csv=readings]")
    text = Path(download.value.path()).read_text(encoding="utf-8-sig")
    assert text.splitlines()[0].startswith("at,strokes,value,unit,share")
    assert opened.wrong == []


def test_a_serial_that_nobody_knows_is_said(boards, open_page):
    page = open_page(f"{boards('plant_of_21').url}/tool/NO-SUCH-TOOL").page
    expect(page.locator("text=No tool has the serial NO-SUCH-TOOL.")).to_be_visible()
