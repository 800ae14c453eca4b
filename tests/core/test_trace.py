"""Which tools made a can, and what the record can't vouch for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from duestroke.trace import Check, Seat, Span, checks_about, doubts, same_set, seats_at, suspects

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def seat(serial, fitted, pulled=None, *, position="ring-3", before=0, checks=(), asked=()):
    return Seat(
        position=position,
        serial=serial,
        kind="ironing-ring",
        fitted_at=NOON + fitted,
        pulled_at=None if pulled is None else NOON + pulled,
        fit_strokes=0,
        strokes_before=before,
        checks=tuple(checks),
        asked=tuple(asked),
    )


def check(name, after, *, good=True, value=1.0, of_set=False):
    verdict = "good" if good else "worn"
    return Check(name, NOON + after, verdict, good, "bore", value, "um", of_set=of_set)


def test_a_can_made_at_the_very_change_is_of_the_new_tool():
    old, new = seat("A", -9 * DAY, 0 * DAY), seat("B", 0 * DAY)
    assert seats_at([new, old], NOON)["ring-3"].serial == "B"
    assert seats_at([new, old], NOON - timedelta(microseconds=1))["ring-3"].serial == "A"
    assert seats_at([new, old], NOON - 10 * DAY) == {}


def test_cans_stand_or_fall_together_between_two_checks():
    found = [check("c1", -5 * DAY), check("c2", -2 * DAY), check("c3", 3 * DAY, good=False)]
    tool = seat("A", -9 * DAY, checks=found)
    assert suspects(tool, NOON, NOON + 9 * DAY) == Span(NOON - 2 * DAY, NOON + 3 * DAY)
    before, after = checks_about(tool, NOON)
    assert (before and before.id, after and after.id) == ("c2", "c3")


def test_a_check_that_found_it_worn_or_of_the_set_does_not_clear_it():
    found = [check("c1", -5 * DAY), check("c2", -2 * DAY, good=False)]
    found.append(check("wall", -1 * DAY, of_set=True))
    tool = seat("A", -9 * DAY, 4 * DAY, checks=found)
    assert suspects(tool, NOON, NOON + 9 * DAY) == Span(NOON - 5 * DAY, NOON + 4 * DAY)


def test_without_any_check_all_since_its_fit_is_suspect():
    tool = seat("A", -9 * DAY)
    assert suspects(tool, NOON, NOON + HOUR) == Span(NOON - 9 * DAY, NOON + HOUR)


def test_one_set_lasts_from_the_last_fit_to_the_first_pull():
    seats = [seat("A", -9 * DAY, 3 * DAY), seat("B", -2 * DAY, 5 * DAY, position="punch")]
    assert same_set(seats, NOON) == Span(NOON - 2 * DAY, NOON + 3 * DAY)
    assert same_set([], NOON) is None


def test_a_tool_that_a_reading_or_a_change_speaks_for_carries_no_doubt():
    read = seat("A", -9 * DAY, checks=[check("c1", -5 * DAY)])
    changed = seat("B", -9 * DAY, 9 * DAY, position="punch")
    assert doubts(["punch", "ring-3"], [read, changed], NOON) == []


@pytest.mark.parametrize(
    ("case", "kind"),
    [
        ("empty", "no-tool"),
        ("entry alone", "serial-unconfirmed"),
        ("only a look", "serial-unconfirmed"),
        ("asked", "open-question"),
        ("age", "age-unknown"),
        ("near", "near-a-change"),
    ],
)
def test_what_may_be_wrong_is_said_with_its_kind(case, kind):
    read = [check("c1", -5 * DAY)]
    seats = {
        "empty": [],
        "entry alone": [seat("A", -9 * DAY)],
        "only a look": [seat("A", -9 * DAY, checks=[check("c1", -5 * DAY, value=None)])],
        "asked": [seat("A", -9 * DAY, checks=read, asked=["was this tool changed?"])],
        "age": [seat("A", -9 * DAY, checks=read, before=None)],
        "near": [seat("A", -9 * DAY, timedelta(minutes=20)), seat("B", HOUR)],
    }[case]
    found = doubts(["ring-3"], seats, NOON)
    assert [doubt.kind for doubt in found] == [kind]
    assert found[0].position == "ring-3"
    assert found[0].words


def test_a_flag_over_the_time_is_a_doubt_of_the_press():
    [doubt] = doubts([], [], NOON, flags=["up to 26 strokes may be hidden"])
    assert (doubt.kind, doubt.position) == ("flag", None)
