"""The demo plant's stories about tools and records, as its truth has them.

All figures are the demo's own (invented), but for what is marked otherwise.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest
from scipy import stats

from duestroke.errors import BadField, Contradiction
from duestroke.ledger import Entry, Tool, ToolEvent, replay
from duestroke.times import from_micros, parse_time
from simulators import gauge, mistakes, paperwork, policy, records, scripted, stories, telling, wear
from simulators.plant import BY_NAME, BY_POSITION, DAY, FIRST_LIVES, HOUR, POSITIONS, PRESSES
from simulators.plants import plant_of, read_settings
from simulators.reports import history
from simulators.stockroom import OUT, SHELF
from simulators.stories import Demo
from simulators.works import Works, begin, loaded_to

DEMO = Demo(20_260, datetime(2026, 3, 9, 14, 25, tzinfo=UTC))
KINDS = {position.name: position.kind for position in POSITIONS} | {"press": "press"}


@pytest.fixture(scope="module")
def works():
    return Works(DEMO)


@pytest.fixture(scope="module")
def told(works):
    return records.all_records(DEMO, works.played)


@pytest.fixture(scope="module")
def truths(works):
    return {one.press.name: one for one in works.truths(DEMO.d0 + DAY)}


def lives_of(works, press, position):
    (played,) = (one for one in works.played if one.press.name == f"harlow-mere/{press}")
    return [life for life in played.lives if life.position.name == position]


def days(at):
    return (at - DEMO.d0) / DAY


def ran(life):
    return life.age + (life.pulled_strokes - life.fitted_strokes) / 1e6


def test_ring_3_of_2_05_breaks_at_12_4_million_on_d_minus_9(works):
    lives = lives_of(works, "2/05", "ring-3")
    broken = next(life for life in lives if life.script is not None)
    assert broken.end == "broken"
    assert ran(broken) == pytest.approx(scripted.BROKEN_RING_AGE, abs=0.02)
    assert days(broken.pulled_at) == pytest.approx(-9, abs=0.6)
    assert lives.index(broken) == len(lives) - 2
    assert lives[-1].end == "running"


def test_the_creeping_ram_brings_sudden_failures_of_ring_3_five_times_as_often():
    """(1.21/1.116)^20 = 5.04: arithmetic on the demo's own power."""
    position = BY_POSITION["ring-3"]
    rough = wear.Roughness((0.0,), (stories.ROUGHEST / 1.116,))
    rng = np.random.default_rng(4)
    drawn = wear.draw(position, rng, 3_000).sudden
    hastened = np.array([wear.hastened(position, 0.0, age, 0.0, rough) for age in drawn])
    hazard = [np.mean((ages / position.scale) ** position.shape) for ages in (drawn, hastened)]
    assert hazard[0] / hazard[1] == pytest.approx((1.21 / 1.116) ** 20, rel=0.01)
    unchanged = wear.hastened(position, 3.0, 40.0, 0.0, wear.Roughness((0.0, 9.0), (1.0, 1.0)))
    assert unchanged == pytest.approx(40.0)


def test_weak_batch_three_came_out_five_are_in_one_lies_on_the_shelf(works):
    name = scripted.weak_batch(DEMO)
    tools = {id(tool): tool for one in works.played for tool in one.tools if tool.batch == name}
    lives = [life for one in works.played for life in one.lives if id(life.tool) in tools]
    out = sorted((round(ran(life)), life.end) for life in lives if life.end != "running")
    assert out == [(36, "worn"), (41, "worn"), (44, "worn")]
    assert all(days(life.pulled_at) > -150 for life in lives if life.end != "running")
    assert len(lives) == 8
    assert len(tools) == 9
    assert {tool.kind for tool in tools.values()} == {"punch"}
    assert {life.tool.press.split("/")[1] for life in lives if life.end != "running"} == {"1", "3"}
    quarter = {from_micros(tool.bought).date() for tool in tools.values()}
    assert max(quarter) - min(quarter) < timedelta(days=92)
    growth = [life.growth_um for life in lives if life.end == "running"]
    assert np.exp(np.mean(np.log(growth))) == pytest.approx(0.060 * 1.6, rel=0.25)


def test_the_redraw_die_of_1_03_is_at_its_limit_two_weeks_on(works, truths):
    life = lives_of(works, "1/03", "redraw-die")[-1]
    assert life.end == "running"
    one = next(t for t in works.truths(DEMO.d0 + 40 * DAY) if t.press.name.endswith("/1/03"))
    worn = next(day for day in range(40) if one.strokes(DEMO.d0 + day * DAY) / 1e6 >= life.worn_at)
    assert worn == pytest.approx(scripted.DIE_DUE, abs=1.5)
    looks = [look for look in one.played.looks if look.tool is life.tool]
    assert {look.verdict for look in looks} == {"good"}
    assert looks[-1].value > 0.8 * BY_POSITION["redraw-die"].limit_um


def replayed(played, given):
    """The ledger that stands after some records, entered in their order."""
    events = [record.what for record in given if isinstance(record.what, ToolEvent)]
    place = {}
    for number, event in enumerate(events):
        place[event.id] = place[event.corrects] if event.corrects else number
    gone = {event.corrects for event in events}
    tools = {
        tool.serial: Tool(tool.serial, tool.kind, tool.new_mm)
        for one in played
        for tool in one.tools
    }
    entries = [Entry(event, place[event.id]) for event in events if event.id not in gone]
    return replay(entries, tools, KINDS, frozenset(event.id for event in events)), tools


def test_stock_on_the_first_day(works):
    """Nothing is typed in: it follows from what was bought, sent out and came back."""
    shelf, out = Counter(), Counter()
    ring_steps = {66.15: "ring-3", 66.285: "ring-2", 66.432: "ring-1"}
    dies = []
    for played in works.played:
        right = [records.Record(event, 0, "") for event in paperwork.events(DEMO, played)]
        ledger, tools = replayed([played], right)
        for serial, tool in tools.items():
            now = ledger.tools.get(serial)
            size = tool.size_mm if now is None else now.size_mm
            goal = tool.kind
            if goal == "ironing-ring":
                goal = min(ring_steps, key=lambda mm: abs(mm - size))
                goal = ring_steps[goal]
            if now is None or now.state == "shelf":
                shelf[goal] += 1
            elif now.state == "out":
                out[tool.kind] += 1
                dies += [now.back_at] if tool.kind == "redraw-die" else []
    assert shelf == Counter({goal: many for goal, many in SHELF.items() if many})
    rings = sum(many for goal, many in OUT.items() if goal.startswith("ring"))
    assert sum(many for goal, many in SHELF.items() if goal.startswith("ring")) == 9
    assert out == Counter({"ironing-ring": rings, "punch": 2, "redraw-die": 1, "redraw-sleeve": 3})
    assert rings == 6
    assert [(day.date() - DEMO.first_day.date()).days for day in dies] == [18]


def test_a_jam_at_1_05_hurts_three_tools(works):
    played = next(one for one in works.played if one.press.name.endswith("/1/05"))
    moment, positions = scripted.jam(DEMO, played.press)
    pulls = [
        entry
        for entry in played.entries
        if entry.type == "pull" and moment <= entry.at < moment + 2 * HOUR
    ]
    assert [(entry.position, entry.reason) for entry in pulls] == [
        (position, "collateral") for position in positions
    ]
    assert days(moment) == pytest.approx(-45, abs=0.6)


def test_rings_of_2_03_and_2_04_were_exchanged_until_d_minus_20(told):
    wrong = [
        record
        for press in ("2/03", "2/04")
        for record in told[f"harlow-mere/{press}"]
        if record.wrong == "exchanged"
    ]
    assert [record.what.press for record in wrong] == ["harlow-mere/2/03", "harlow-mere/2/04"]
    assert [record.fate for record in wrong] == ["corrected"] * 2
    assert wrong[0].what.serial == wrong[1].truth["serial"]
    assert wrong[1].what.serial == wrong[0].truth["serial"]
    fixes = [
        record
        for record in told["harlow-mere/2/03"] + told["harlow-mere/2/04"]
        if record.what.corrects in {one.what.id for one in wrong}
    ]
    assert {fix.entered_at for fix in fixes} == {fixes[0].entered_at}
    assert days(fixes[0].entered_at) == pytest.approx(-20, abs=4)
    found = [
        record.what
        for record in told["harlow-mere/2/03"]
        if record.what.note is not None and "not that of the ring" in record.what.note
    ]
    assert [look.serial for look in found] == [wrong[0].truth["serial"]]


def test_one_press_of_the_pair_alone_has_no_exchange(works):
    alone = [one for one in works.played if one.press.name.endswith("/2/03")]
    (book,) = records.books(DEMO, alone)
    assert not [one for one in book.records(alone[0].press.name) if one.wrong == "exchanged"]


def test_a_ring_change_on_2_03_is_entered_three_days_late(told):
    late = [
        record
        for record in told["harlow-mere/2/03"]
        if record.late and record.apart and record.entered_at - to_us(record.what.at) >= 3 * DAY
    ]
    assert {record.what.type for record in late} == {"pull", "fit"}
    assert all(record.what.position in (None, "ring-1", "ring-2", "ring-3") for record in late)
    assert all(record.entered_at - to_us(record.what.at) < 3.1 * DAY for record in late)


def to_us(at):
    return round(at.timestamp() * 1e6)


def test_every_record_could_be_entered_when_it_was(works, told):
    """The ledger stands without contradiction after each sitting at which something was odd."""
    tried = 0
    for book in records.books(DEMO, works.played):
        given = sorted(
            (record for one in book.plant for record in told[one.press.name]),
            key=lambda record: record.entered_at,
        )
        given = [record for record in given if isinstance(record.what, ToolEvent)]
        odd = [n for n, record in enumerate(given) if record.wrong or record.apart]
        for cut in sorted({n + step for n in odd for step in (1, 2)} | {len(given)}):
            if cut < len(given) and given[cut - 1].entered_at == given[cut].entered_at:
                continue
            replayed(book.plant, given[:cut])
            tried += 1
    assert tried > 60


def test_the_ledger_that_is_corrected_is_the_truth_but_for_what_is_still_wrong(works, told):
    for book in records.books(DEMO, works.played):
        given = sorted(
            (record for one in book.plant for record in told[one.press.name]),
            key=lambda record: record.entered_at,
        )
        ledger, _ = replayed(book.plant, given)
        sat = {(fit.event.serial, *fit.seat) for fit in ledger.fits if fit.seat[1] != "press"}
        true = {
            (life.tool.serial, one.press.name, life.position.name)
            for one in book.plant
            for life in one.lives
        }
        wrong = {
            (record.what.serial, record.what.press, record.what.position)
            for record in given
            if record.fate == "wrong"
        }
        assert sat - true == wrong


def test_records_are_as_messy_as_the_plant_says(works, told):
    """5 % late (median 9 h), 1 % wrong serial, 0.5 % wrong step: by binomial bounds."""
    flat = [record for press in told.values() for record in press]
    events = [record for record in flat if isinstance(record.what, ToolEvent)]
    fits = [r for r in events if r.what.type == "fit" and r.what.corrects is None]
    changes = len(fits) - len(PRESSES) * len(POSITIONS)
    for share, many in (
        (records.LATE, sum(record.late for record in fits)),
        (mistakes.WRONG_SERIAL, sum(record.wrong == "serial" for record in fits)),
        (mistakes.WRONG_STEP, sum(record.wrong == "step" for record in fits)),
    ):
        low, high = stats.binom.ppf([0.0005, 0.9995], changes, share)
        assert low <= many <= high
    hours = [(r.entered_at - to_us(r.what.at)) / HOUR for r in fits if r.late]
    assert np.median(hours) == pytest.approx(records.LATE_MEDIAN_HOURS, rel=0.35)
    wrong = [(r.what.press, r.what.position) for r in events if r.fate == "wrong"]
    assert ("harlow-mere/3/05", "stripper") in wrong
    assert len(wrong) < 6
    soon = [(r.entered_at - to_us(r.what.at)) / HOUR for r in events if not r.late]
    assert np.median(soon) < 1
    assert all(record.entered_at >= to_us(record.what.at) for record in flat)
    assert all(record.entered_at <= DEMO.d0 for record in flat)


def test_the_same_mess_again(works, told):
    again = records.all_records(DEMO, Works(DEMO).played)
    assert again == told


def test_a_press_alone_is_the_same_as_among_all(told):
    """Serials, stock and records are the whole plant's, whichever presses are asked for."""
    some = [BY_NAME["harlow-mere/1/02"], BY_NAME["harlow-mere/3/06"]]
    alone = records.all_records(DEMO, Works(DEMO, some).played)
    assert alone == {press.name: told[press.name] for press in some}


def test_lines_pull_by_their_own_policy(works):
    ends = Counter()
    for played in works.played:
        for life in played.lives:
            if life.position.name == "ring-3" and life.end in ("worn", "planned"):
                ends[played.press.line.name, life.end] += 1
    assert ends["1", "planned"] == 0
    assert ends["1", "worn"] > 20
    assert ends["2", "planned"] > 1.5 * ends["2", "worn"]
    assert ends["3", "planned"] > 10
    assert ends["3", "worn"] > 10
    for life in (life for one in works.played for life in one.lives):
        of_line_3 = life.end == "planned" and life.tool.press.split("/")[1] == "3"
        if of_line_3 and life.age_known and life.position.name != "punch":
            assert ran(life) >= policy.fixed_age(life.position)


@pytest.mark.parametrize(
    ("rule", "reading", "age", "want"),
    [
        ("to-limit", 5.9, 90.0, "stays"),
        ("to-limit", 6.0, 1.0, "worn"),
        ("at-85-percent", 5.1, 9.0, "stays"),
        ("at-85-percent", 5.2, 9.0, "next-stop"),
        ("at-85-percent", 6.1, 9.0, "worn"),
        ("fixed-age", 5.2, 29.0, "stays"),
        ("fixed-age", 5.2, 29.1, "planned"),
        ("fixed-age", 6.0, 29.1, "worn"),
        ("fixed-age", None, 29.1, "planned"),
    ],
)
def test_policy_of_ring_3(rule, reading, age, want):
    assert policy.judge(rule, BY_POSITION["ring-3"], reading, age) == want


def test_readings_carry_noise_the_bias_of_the_day_and_of_the_temperature():
    press, ring = BY_NAME["harlow-mere/1/01"], BY_POSITION["ring-3"]
    at = DEMO.on_day(-100, time(9))
    many = [gauge.error_um(DEMO, press, ring, at + n * 1_000_000) for n in range(4_000)]
    shared = gauge.session_um(DEMO, at) + 0.34 * (gauge.off_k(DEMO, at) - 1.5)
    assert np.mean(many) == pytest.approx(shared, abs=0.03)
    assert np.std(many) == pytest.approx(0.4, rel=0.05)
    bias = [gauge.session_um(DEMO, at - n * DAY) for n in range(700)]
    kelvin = [gauge.off_k(DEMO, at - n * DAY) for n in range(700)]
    assert np.std(bias) == pytest.approx(0.3, rel=0.1)
    assert 0.0 <= min(kelvin) < max(kelvin) <= 3.0
    assert np.mean(kelvin) == pytest.approx(1.5, abs=0.1)


def test_readings_say_what_was_read_in_which_unit_and_against_which_limit(works):
    seen = Counter()
    for look in (look for one in works.played for look in one.looks):
        seen[look.quantity, look.unit, look.limit] += 1
        if look.limit is not None:
            at_limit = abs(look.value) >= abs(look.limit)
            assert look.uncertainty > 0
            assert look.verdict == ("worn" if at_limit and look.value * look.limit > 0 else "good")
    limits = {(gauge.GAUGED[p.name].quantity, "um", p.limit_um) for p in POSITIONS if p.limit_um}
    of_sets = {("wall", "um", None), ("dome-depth", "mm", None)}
    assert set(seen) == limits | of_sets | {(None, None, None)}
    assert seen["wall", "um", None] > 2_000


def test_wall_is_half_of_bore_and_punch():
    """Arithmetic: wall = (bore - punch diameter) / 2."""
    press = BY_NAME["harlow-mere/1/01"]
    walls = [gauge.wall_um(DEMO, press, n * 1_000_000, 4.0, 2.0) for n in range(2_000)]
    assert np.mean(walls) == pytest.approx(75 + 3.0, abs=0.03)


def test_3_08_makes_9000_dry_strokes_after_its_size_change(truths):
    one = truths["harlow-mere/3/08"]
    start, end = one.dry
    assert np.diff(one.strokes([start, end])).tolist() == [9_000]
    stop = stories.dry_after(DEMO, one.press)
    assert stop.start < start < stop.end + HOUR
    reports, _ = history(one, loaded_to(DEMO))
    dry = (reports.made_at > start) & (reports.made_at <= end)
    usual = np.nanmedian(reports.peak_accel)
    assert np.nanmedian(reports.peak_accel[dry]) == pytest.approx(0.9 * usual, rel=0.02)
    assert np.nanmedian(reports.peak_speed[dry]) == pytest.approx(11.0, rel=0.01)


def test_the_export_tells_for_each_record_whether_it_was_right(truths, told):
    said = json.loads(json.dumps(telling.export(list(truths.values()), DEMO.d0)))
    for press, given in told.items():
        rows = said["presses"][press]["records"]
        assert [row["id"] for row in rows] == [record.id for record in given]
        assert [row["record"] for row in rows] == [record.fate for record in given]
    rows = [row for press in said["presses"].values() for row in press["records"]]
    words = Counter(row["record"] for row in rows)
    assert set(words) == {"right", "corrected", "wrong"}
    assert all("truth" in row for row in rows if row["record"] != "right")
    assert all(parse_time(row["entered_at"]) <= DEMO.first_day for row in rows)
    assert said["presses"]["harlow-mere/3/08"]["dry"][0]["strokes"] == 9_000
    assert said["weak_batch"] == "PB-2502"


@pytest.mark.parametrize(
    ("rule", "failures"),
    [("to-limit", 1.00), ("at-85-percent", 0.22), ("fixed-age", 0.35)],
)
def test_share_of_failures_under_each_policy(rule, failures):
    """Ring 3 at 11 m/s, a reading each 3.5 M with 0.4 um noise: the demo's own table."""
    rng, ring = np.random.default_rng(9), BY_POSITION["ring-3"]
    drawn = wear.draw(ring, rng, 4_000)
    ends = [_one_life(rule, ring, *pair, rng) for pair in zip(*drawn_pair(drawn), strict=True)]
    assert np.mean([end != "planned" for end, _ in ends]) == pytest.approx(failures, abs=0.04)


@pytest.mark.parametrize(
    ("rule", "median"), [("to-limit", 35.6), ("at-85-percent", 51.8), ("fixed-age", 35.7)]
)
def test_end_codes_alone_mislead_where_pulls_hang_on_readings(rule, median):
    """One Weibull on end codes (SciPy, censored data): the demo's own table; the truth is 34.2 M.

    Line 2's rule makes lives look half as long again, and more lives do not cure it.
    """
    rng, ring = np.random.default_rng(10), BY_POSITION["ring-3"]
    drawn = wear.draw(ring, rng, 6_000)
    lives = [_one_life(rule, ring, *pair, rng) for pair in zip(*drawn_pair(drawn), strict=True)]
    ages = np.array([age for _, age in lives])
    failed = np.array([end != "planned" for end, _ in lives])
    data = stats.CensoredData(uncensored=ages[failed], right=ages[~failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert scale * np.log(2) ** (1 / shape) == pytest.approx(median, rel=0.03)


def drawn_pair(drawn):
    return drawn.growth, drawn.sudden


def _one_life(rule, ring, growth, sudden, rng):
    """End and age of a life of ring 3 with readings 3.5 M strokes apart, each before a stop."""
    age = -3.5 * rng.random()
    while True:
        age += 3.5
        if sudden < age:
            return "broken", sudden
        word = policy.judge(rule, ring, growth * age + 0.4 * rng.standard_normal(), age)
        if word != "stays":
            return "worn" if word == "worn" else "planned", age


PLANT = """
seed = 7
days = 60
known_age = 1.0
[[line]]
name = "a"
presses = 2
policy = "fixed-age"
strokes_a_minute = 300
[[line]]
name = "b"
presses = 1
modulus = 65536
rod_length_mm = 2000
policy = "at-85-percent"
"""


@pytest.fixture
def settings_file(tmp_path):
    file = tmp_path / "plant.toml"
    file.write_text(PLANT, encoding="utf-8")
    return file


def test_another_plant_from_a_settings_file(settings_file):
    seed, plant = plant_of(read_settings(settings_file))
    demo = Demo(seed, DEMO.first_day, plant)
    made = Works(demo)
    names = ["brackwater/a/01", "brackwater/a/02", "brackwater/b/01"]
    assert [one.press.name for one in made.played] == names
    assert [one.press.modulus for one in made.played] == [2**32, 2**32, 65_536]
    assert all(life.age_known for one in made.played for life in one.lives)
    for one in made.truths(demo.d0):
        reports, _ = history(one, loaded_to(demo))
        assert len(reports) == pytest.approx(60 * 144, abs=40)
        rate = one.press.line.strokes_a_minute
        assert int(one.strokes(demo.d0)) == pytest.approx(60 * 1440 * rate * 0.89, rel=0.05)
        assert one.silences == ()
    for one in made.played:
        right = [records.Record(event, 0, "") for event in paperwork.events(demo, one)]
        assert len(replayed([one], right)[0].fits) >= len(POSITIONS)


def test_new_tools_at_the_start(settings_file):
    said = read_settings(settings_file) | {"ages": "new"}
    seed, plant = plant_of(said)
    made = Works(Demo(seed, DEMO.first_day, plant))
    assert {life.age for one in made.played for life in one.lives} == {0.0}


def test_a_plant_stays_that_of_its_data_dir(settings_file, tmp_path):
    said = read_settings(settings_file)
    begun = begin(tmp_path / "data", DEMO.first_day, said=said)
    assert begin(tmp_path / "data", DEMO.first_day + timedelta(days=3)) == begun
    assert begin(tmp_path / "data", DEMO.first_day, said=said) == begun
    with pytest.raises(BadField, match="no other plant"):
        begin(tmp_path / "data", DEMO.first_day, said=said | {"seed": 8})


def test_a_demo_of_another_version_is_not_gone_on_with(tmp_path):
    """Its loaded history and what its presses would go on with would be two plants."""
    begin(tmp_path, DEMO.first_day)
    file = tmp_path / "demo.json"
    held = json.loads(file.read_text(encoding="utf-8"))
    file.write_text(json.dumps(held | {"history": 1}), encoding="utf-8")
    with pytest.raises(BadField, match="another data dir"):
        begin(tmp_path, DEMO.first_day)
    command = [sys.executable, "-P", "-m", "launch", "simulate", "--truth", str(tmp_path / "truth")]
    ran = subprocess.run(
        command,
        env=os.environ | {"DUESTROKE_DATA_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 2
    assert len(ran.stderr.splitlines()) == 1
    assert "another data dir" in ran.stderr


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({}, "line"),
        ({"seed": 1, "lines": []}, "lines"),
        ({"line": [{"name": "a"}]}, "seed"),
        ({"seed": 1, "line": [{"name": "A"}]}, "line 1.name"),
        ({"seed": 1, "line": [{"name": "a", "policy": "never"}]}, "line 1.policy"),
        ({"seed": 1, "line": [{"name": "a"}, {"name": "b", "presses": 0}]}, "line 2.presses"),
        ({"seed": 1, "line": [{"name": "a", "modulus": 10}]}, "line 1.modulus"),
        ({"seed": 1, "line": [{"name": "a", "strokes_a_minute": 481}]}, "line 1.strokes_a_minute"),
        ({"seed": 1, "line": [{"name": "a"}, {"name": "a"}]}, "line"),
        ({"seed": 1, "ages": "old", "line": [{"name": "a"}]}, "ages"),
        ({"seed": True, "line": [{"name": "a"}]}, "seed"),
    ],
)
def test_a_wrong_settings_file_names_what_is_wrong(said, field):
    with pytest.raises(BadField) as fault:
        plant_of(said)
    assert fault.value.field == field


def test_the_command_refuses_a_wrong_plant_in_one_line(tmp_path):
    file = tmp_path / "plant.toml"
    file.write_text(PLANT.replace("fixed-age", "never"), encoding="utf-8")
    command = [sys.executable, "-P", "-m", "launch", "simulate", "--truth", str(tmp_path / "truth")]
    ran = subprocess.run(
        [*command, "--plant", str(file)],
        env=os.environ | {"DUESTROKE_DATA_DIR": str(tmp_path / "data")},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 2
    assert len(ran.stderr.splitlines()) == 1
    assert "policy" in ran.stderr
    assert "never" in ran.stderr
    assert not (tmp_path / "data").exists()


def test_the_command_writes_the_truth_of_another_plant(settings_file, tmp_path):
    out = tmp_path / "truth.json"
    command = [sys.executable, "-P", "-m", "launch", "simulate", "--truth", str(out)]
    subprocess.run(
        [*command, "--plant", str(settings_file)],
        env=os.environ | {"DUESTROKE_DATA_DIR": str(tmp_path / "data")},
        timeout=60,
        check=True,
    )
    said = json.loads(out.read_text(encoding="utf-8"))
    assert said["seed"] == 7
    assert set(said["presses"]) == {"brackwater/a/01", "brackwater/a/02", "brackwater/b/01"}


def test_a_file_that_is_no_toml(tmp_path):
    (tmp_path / "plant.toml").write_text("seed = ", encoding="utf-8")
    with pytest.raises(BadField, match="TOML"):
        read_settings(tmp_path / "plant.toml")


def test_a_wrong_serial_would_be_refused_once_its_own_tool_comes_out(works, told):
    """What makes a wrong entry come to light: the ledger refuses what contradicts it."""
    wrong = next(
        (press, record)
        for press, given in told.items()
        for record in given
        if record.wrong == "serial" and record.fate == "corrected"
    )
    press, record = wrong
    played = [one for one in works.played if one.press.name == press]
    before = [one for one in told[press] if one.entered_at <= record.entered_at]
    pull = ToolEvent(
        id=paperwork.events(DEMO, played[0])[-1].id, type="pull", reason="worn",
        serial=record.truth["serial"], at=from_micros(DEMO.d0),
    )  # fmt: skip
    with pytest.raises(Contradiction):
        replayed(played, [*before, records.Record(pull, DEMO.d0, "")])
    assert FIRST_LIVES.keys() == SHELF.keys()
