"""Words and figures of the board: rounding, plant time, what stays together."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import words
from duestroke.forecast.facts import STATES

NOW = datetime(2026, 11, 23, 6, 2, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")
NB, NARROW = "\u00a0", "\u202f"


def test_a_press_is_written_as_stamped():
    assert words.press_id("harlow-mere/2/05") == f"2{NARROW}05"


@given(st.floats(0, 1))
def test_a_chance_is_never_0_or_100(share):
    text = words.chance(share)
    assert text not in (f"0{NB}%", f"100{NB}%")
    assert NB in text
    assert " " not in text


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "< 1 %"), (0.004, "< 1 %"), (0.0149, "1 %"), (0.3, "30 %"), (0.994, "99 %"),
     (0.996, "> 99 %"), (1.0, "> 99 %")],
)  # fmt: skip
def test_a_chance_is_in_whole_per_cent(share, text):
    assert words.chance(share) == text.replace(" ", NB)


@pytest.mark.parametrize(
    ("count", "text"),
    [(None, ""), (0, "0.00 M"), (150_000, "0.15 M"), (4_540_000, "4.54 M"), (9_996_000, "10.0 M"),
     (28_640_000, "28.6 M"), (99_960_000, "100 M"), (369_000_000, "369 M")],
)  # fmt: skip
def test_strokes_are_millions_to_three_figures(count, text):
    assert words.strokes(count) == text.replace(" ", NB)


def test_times_are_plant_time_on_both_sides_of_a_clock_change():
    """The zone's last Sunday of March 2026: 01:00 UTC becomes 02:00. Source: IANA tz database."""
    before = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)
    after = before + timedelta(hours=1)
    assert (words.clock(before, LONDON), words.offset(before, LONDON)) == ("00:30", "+00:00")
    assert (words.clock(after, LONDON), words.offset(after, LONDON)) == ("02:30", "+01:00")


def test_a_far_date_carries_its_year():
    assert words.day(NOW + timedelta(days=30), LONDON, NOW) == f"23{NB}Dec"
    assert words.day(NOW + timedelta(days=60), LONDON, NOW) == f"22{NB}Jan"
    assert words.day(NOW + timedelta(days=400), LONDON, NOW) == f"28{NB}Dec{NB}2027"


def test_since_names_the_day_only_when_it_was_another():
    assert words.since(NOW - timedelta(minutes=52), LONDON, NOW) == "05:10"
    assert words.since(NOW - timedelta(hours=12), LONDON, NOW) == f"Sun{NB}22{NB}Nov{NB}18:02"


@pytest.mark.parametrize(
    ("minutes", "text"),
    [(0.2, "1 minute"), (52, "52 minutes"), (180, "3 hours"), (4320, "3 days")],
)
def test_a_stretch_of_time_in_words(minutes, text):
    assert words.lasted(minutes) == text.replace(" ", NB)


def test_a_caution_becomes_a_sentence_in_plant_time():
    caution = "no report since 2026-07-01T05:10:00Z: it may have run up to 24,960 strokes unseen"
    now = datetime(2026, 7, 1, 9, 0, tzinfo=UTC)
    said = words.sentence(caution, LONDON, now)
    assert said == "No report since 06:10: it may have run up to 24,960 strokes unseen."
    assert words.sentence("", LONDON, now) == ""


def test_each_state_of_the_contract_has_a_word_and_a_mark():
    assert set(words.STATE_WORDS) == set(words.STATE_MARKS) == set(STATES)


def test_a_long_list_says_how_many_more():
    assert words.listed(["a", "b", "c"], 3) == "a, b, c"
    assert words.listed(["a", "b", "c", "d"], 2) == f"a, b and 2{NB}more"
