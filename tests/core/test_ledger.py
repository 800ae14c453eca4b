"""The ledger's replay against a plain model, and what it says when it refuses."""

from __future__ import annotations

import itertools
import random
import uuid
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duestroke.errors import BadField, Contradiction
from duestroke.ledger import BadEvent, Entry, Run, Tool, ToolEvent, ages, checked, replay
from tests.support.ledgers import KINDS, TOOLS, at_hour, plain_ledger, random_event

PRESS = "works/1/01"


def event(kind, serial, hour, **more):
    if kind == "fit":
        more = {"press": PRESS, "position": "ring-3"} | more
    if kind == "pull":
        more = {"reason": "planned"} | more
    return ToolEvent(id=uuid.uuid4(), type=kind, serial=serial, at=at_hour(hour), **more)


def played(*events, new=frozenset()):
    entries = [Entry(one, number) for number, one in enumerate(events)]
    return replay(entries, TOOLS, KINDS, new)


def outcome(entered):
    """States, places and stretches as the replay has them; None where it refuses."""
    try:
        ledger = played(*entered)
    except Contradiction:
        return None
    states = {serial: ledger.tools[serial].state for serial in TOOLS if serial in ledger.tools}
    stretches = [
        [fit.event.serial, fit.seat, fit.event.at, None if fit.pull is None else fit.pull.at]
        for fit in ledger.fits
        if fit.kind != "press"
    ]
    seats = {seat: tool.tool.serial for seat, tool in ledger.seats.items() if seat[1] != "press"}
    tools = {
        serial: (tool.size_mm, tool.life, tool.back_at)
        for serial, tool in ledger.tools.items()
        if serial in TOOLS
    }
    ages = [(fit.chain, fit.base, fit.life) for fit in ledger.fits if fit.kind != "press"]
    return states, seats, sorted(stretches, key=str), tools, sorted(ages, key=str)


def growing_history(seed, steps):
    """Events entered one after another at any time; those that contradict are left out."""
    rng = random.Random(seed)
    kept = []
    for _ in range(steps):
        tried = [*kept, random_event(rng)]
        if plain_ledger(tried) is not None:
            kept = tried
    return kept


@given(st.integers(0, 2**32), st.integers(1, 60))
def test_replay_and_the_plain_model_agree_on_every_late_entry(seed, steps):
    """Late entries are judged in their place: the same refusals, the same end."""
    rng = random.Random(seed)
    kept = []
    for _ in range(steps):
        tried = [*kept, random_event(rng)]
        model, got = plain_ledger(tried), outcome(tried)
        assert (model is None) == (got is None)
        if model is not None and got is not None:
            kept = tried
            assert got[0] == {s: state for s, state in model.state.items() if s in got[0]}
            assert got[1] == model.place
            assert got[2] == sorted(model.stretches, key=str)
            assert got[3] == {
                serial: (model.size[serial], model.reworks[serial], model.back[serial])
                for serial in got[3]
            }
            assert got[4] == sorted(model.ages, key=str)


@given(st.integers(0, 2**32), st.randoms(use_true_random=False))
def test_the_order_of_entry_matters_only_at_equal_times(seed, shuffle):
    kept = growing_history(seed, 40)
    distinct = list({one.at: one for one in kept}.values())
    shuffled = list(distinct)
    shuffle.shuffle(shuffled)
    assert outcome(shuffled) == outcome(distinct)


@given(st.integers(0, 2**32))
def test_a_tool_sits_in_one_place_and_a_place_holds_one_tool(seed):
    """Stretches of one tool, and of one place, never overlap."""
    for name in (0, 1):
        result = outcome(growing_history(seed, 40))
        assert result is not None
        ends = {}
        for stretch in sorted(result[2], key=lambda s: s[2]):
            before = ends.get(stretch[name])
            assert before is None or before <= stretch[2]
            ends[stretch[name]] = stretch[3] or at_hour(10_000)


def test_histories_do_hold_late_entries_and_replacements():
    """The generator reaches what the properties are about."""
    kept = [one for seed in range(20) for one in growing_history(seed, 40)]
    assert sum(one.type == "fit" and one.replaces for one in kept) > 20
    late = [b for a, b in itertools.pairwise(kept) if b.at < a.at]
    assert len(late) > 50


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ([("fit", "R1", 1, {}), ("fit", "R2", 2, {})], ["R1 is fitted", "ring-3 of works/1/01"]),
        ([("fit", "R1", 1, {}), ("fit", "R1", 2, {"press": "works/1/02"})], ["R1 is fitted"]),
        ([("pull", "R1", 1, {})], ["R1 is new and was never fitted"]),
        ([("fit", "R1", 5, {}), ("pull", "R1", 2, {})], ["fitted only at 2026-01-01T05:00:00Z"]),
        ([("fit", "P1", 1, {})], ["takes the kind ironing-ring", "P1 is a punch"]),
        ([("scrap", "R1", 1, {}), ("fit", "R1", 2, {})], ["R1 is scrapped", "01:00:00Z"]),
        ([("send", "R1", 1, {}), ("fit", "R1", 2, {})], ["R1 is out for rework"]),
        ([("fit", "R1", 1, {}), ("scrap", "R1", 2, {})], ["R1 is fitted", "scrap of R1"]),
        ([("fit", "R1", 1, {}), ("pull", "R1", 2, {"position": "ring-2"})], ["R1 is fitted"]),
    ],
)
def test_a_contradiction_says_what_stands_against_it(events, words):
    with pytest.raises(Contradiction) as fault:
        played(*(event(kind, serial, hour, **more) for kind, serial, hour, more in events))
    for word in words:
        assert word in fault.value.against


def test_events_of_equal_time_take_effect_as_entered():
    out, into = event("pull", "R1", 3), event("fit", "R2", 3)
    first = event("fit", "R1", 1)
    assert played(first, out, into).seats[(PRESS, "ring-3")].tool.serial == "R2"
    with pytest.raises(Contradiction):
        played(first, into, out)


def test_a_late_fit_takes_over_the_pull_of_a_later_replacement():
    """R2 replaced R1 at 10; entered late: R3 had replaced R1 at 5 already."""
    first = event("fit", "R1", 1)
    second = event("fit", "R2", 10, replaces=True, reason="worn")
    third = event("fit", "R3", 5, replaces=True, reason="broken")
    ends = {
        fit.event.serial: (fit.pull and fit.pull.id, fit.reason)
        for fit in played(first, second, third).fits
    }
    assert ends == {"R1": (third.id, "broken"), "R3": (second.id, "worn"), "R2": (None, None)}


def test_a_replacement_without_reason_is_a_wrong_field_of_the_new_event():
    first, second = event("fit", "R1", 1), event("fit", "R2", 2, replaces=True)
    with pytest.raises(BadEvent, match="reason") as fault:
        played(first, second, new=frozenset({second.id}))
    assert fault.value.event == second
    late = event("fit", "R3", 0)
    alone = [event("fit", "R2", 2, replaces=True)]
    played(*alone)
    with pytest.raises(Contradiction, match="gives no reason"):
        played(*alone, late, new=frozenset({late.id}))


def test_rework_begins_a_new_life_in_the_size_it_came_back_in():
    ledger = played(
        event("fit", "R3", 1),
        event("pull", "R3", 2, reason="worn"),
        event("rework", "R3", 3, size_mm=66.3),
        event("fit", "R3", 4, position="ring-2"),
    )
    first, second = ledger.fits
    assert (first.life, first.size_mm, second.life, second.size_mm) == (0, 66.1, 1, 66.3)
    assert second.chain == second.event.id
    assert second.base == 0


@pytest.mark.parametrize(
    ("more", "base"),
    [({}, 0), ({"strokes_before": 7}, 7), ({"before_unknown": True}, None)],
)
def test_the_age_at_a_first_fit_is_zero_or_what_was_said(more, base):
    assert played(event("fit", "R1", 1, **more)).fits[0].base == base


def test_a_tool_put_back_in_carries_its_strokes_on():
    ledger = played(
        event("fit", "R1", 1, strokes_before=100), event("pull", "R1", 2), event("fit", "R1", 3)
    )
    first, second = ledger.fits
    assert (second.chain, second.base) == (first.chain, 100)


def test_a_service_begins_the_life_of_the_press_anew():
    first = event("service", PRESS, 1, press=PRESS)
    second = event("service", PRESS, 9, press=PRESS, reason="worn")
    fits = played(first, second).fits
    assert [(fit.reason, fit.life) for fit in fits] == [("worn", 0), (None, 1)]
    assert fits[0].seat == (PRESS, "press")


def runs(*rows):
    chains = {name: uuid.uuid5(uuid.NAMESPACE_OID, name) for name in "abc"}
    return [Run(life, chains[c], base, strokes, going) for life, c, base, strokes, going in rows]


@pytest.mark.parametrize(
    ("rows", "life", "expected"),
    [
        ([], 0, (None, 0, 0)),
        ([], 1, (None, 0, None)),
        ([(0, "a", 0, 10, True)], 0, (10, 10, 10)),
        ([(0, "a", 0, 10, False)], 1, (None, 0, 10)),
        ([(0, "a", 0, 10, False), (0, "a", 0, 5, True)], 0, (5, 15, 15)),
        ([(0, "a", 0, 10, False), (1, "b", 0, 5, True)], 1, (5, 5, 15)),
        ([(0, "a", 100, 10, True)], 0, (10, 110, None)),
        ([(0, "a", None, 10, True)], 0, (10, None, None)),
        ([(0, "a", None, 10, False), (1, "b", 0, 5, True)], 1, (5, 5, None)),
        ([(0, "a", 0, 10, False), (0, "b", 12, 5, True)], 0, (5, 17, 17)),
    ],
)
def test_three_ages(rows, life, expected):
    got = ages(runs(*rows), life)
    assert (got.since_fit, got.since_rework, got.since_new) == expected


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"at": at_hour(99)}, "at"),
        ({"press": None}, "press"),
        ({"position": None}, "position"),
        ({"position": "press"}, "position"),
        ({"size_mm": -1.0}, "size_mm"),
        ({"strokes_before": -1}, "strokes_before"),
        ({"void": True}, "corrects"),
        ({"type": "pull"}, "reason"),
        ({"type": "service"}, "position"),
        ({"type": "service", "position": None}, "serial"),
        ({"serial": "no/such"}, "serial"),
    ],
)
def test_an_event_must_say_what_its_type_needs(change, field):
    good = event("fit", "R1", 1)
    assert checked(good, at_hour(2)) is good
    with pytest.raises(BadField) as fault:
        checked(replace(good, **change), at_hour(2))
    assert fault.value.field == field


def test_an_unknown_serial_is_a_wrong_field():
    with pytest.raises(BadEvent) as fault:
        played(event("fit", "R9", 1))
    assert fault.value.field == "serial"
    assert isinstance(TOOLS["R1"], Tool)
