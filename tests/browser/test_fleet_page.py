"""The fleet page in a real browser: every size, scheme and view, every state it can be in."""

from __future__ import annotations

import pytest

from tests.browser.faults import faults_of
from tests.browser.stand import SCHEMES, SIZES

pytestmark = pytest.mark.browser

VIEWS = {"desk": "/", "wall": "/wall"}


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size[0]))
def test_the_plant_is_shown_whole_in_every_size_and_scheme(boards, open_page, size, scheme, view):
    """WCAG 2.0 to 2.2, levels A and AA, by axe-core; text measured by its own boxes."""
    opened = open_page(boards("plant_of_21").url + VIEWS[view], size, scheme)
    # A narrow wall shows those that call someone, and a line at a time.
    narrow = view == "wall" and size[0] < 1280
    assert opened.page.locator("[id^=press-], .press").count() == (12 if narrow else 21)
    assert faults_of(opened) == []


OTHERS = (
    *("plant_of_60", "plant_of_3", "plant_of_none"),
    *("plant_without_tools", "plant_in_stop", "plant_all_silent"),
)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("plant", OTHERS)
def test_other_plants_are_shown_as_well(boards, open_page, plant, view):
    """The narrowest size, where text has least room; one scheme each, turn about."""
    scheme = SCHEMES[OTHERS.index(plant) % 2]
    opened = open_page(boards(plant).url + VIEWS[view], SIZES[2], scheme)
    assert faults_of(opened) == []
