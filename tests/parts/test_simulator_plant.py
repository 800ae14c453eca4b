"""The demo plant's own promises: figures of its presses, running, stories, tools, serials.

All figures are the demo's own (invented) but for the kinematics and the check character.
"""

from __future__ import annotations

import string
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from duestroke import stroke
from duestroke.counting.batch import count
from duestroke.counting.columns import count_columns
from duestroke.counting.types import Rule
from duestroke.ledger import Entry, Tool, replay
from duestroke.times import from_micros, to_micros
from simulators import gauge, noise, paperwork, stories, telling, wear
from simulators.demo import columns
from simulators.plant import (
    BY_NAME,
    BY_POSITION,
    DAY,
    FIRST_LIVES,
    HOUR,
    LINES,
    MAX_SPM,
    MINUTE,
    POSITIONS,
    PRESSES,
)
from simulators.reports import arrivals, following, history
from simulators.serials import KIND_LETTERS, check_character, serial
from simulators.stops import planned_stops
from simulators.stories import Demo
from simulators.timeline import build, merge_stands
from simulators.works import Works, loaded_to

DEMO = Demo(20_260, datetime(2026, 3, 9, 14, 25, tzinfo=UTC))
LETTERS = {letters: kind for kind, letters in KIND_LETTERS.items()}


@pytest.fixture(scope="module")
def works():
    return Works(DEMO)


@pytest.fixture(scope="module")
def truths(works):
    return {one.press.name: one for one in works.truths(DEMO.d0 + DAY)}


def test_presses_are_those_of_the_plant():
    assert [(line.name, line.presses) for line in LINES] == [("1", 6), ("2", 7), ("3", 8)]
    line_1 = [press.modulus for press in PRESSES if press.line.name == "1"]
    assert line_1 == [2**16] * 3 + [10**8] * 3
    assert {press.modulus for press in PRESSES if press.line.name != "1"} == {2**32}


@pytest.mark.parametrize(
    ("line", "speed", "accel_g", "ratio"),
    [(0, 10.94, 44.4, 1.000), (1, 10.29, 47.8, 1.116), (2, 11.00, 47.0, 1.000)],
)
def test_peaks_of_each_line_follow_from_its_drive(line, speed, accel_g, ratio):
    """Source: exact slider-crank kinematics (E2); rates, strokes and rods are the demo's own."""
    drive, spm = LINES[line].drive, LINES[line].strokes_a_minute
    accel = stroke.peak_acceleration(drive, spm)
    assert stroke.peak_speed(drive, spm) == pytest.approx(speed, abs=0.005)
    assert accel / stroke.STANDARD_GRAVITY == pytest.approx(accel_g, abs=0.05)
    assert stroke.drive_ram_ratio(drive) == pytest.approx(ratio, abs=0.0005)


def test_a_press_runs_86_to_93_percent_of_the_time(truths):
    shares = [one.timeline.running_share(DEMO.begin, DEMO.d0) for one in truths.values()]
    assert min(shares) >= 0.86
    assert max(shares) <= 0.93
    a_day = [int(one.strokes(DEMO.d0)) / 730 for one in truths.values()]
    assert 0.45e6 < min(a_day) < max(a_day) < 0.56e6


def test_the_truth_does_not_depend_on_how_far_one_looks(works, truths):
    near = truths["harlow-mere/2/05"]
    far = next(one for one in works.truths(DEMO.d0 + 90 * DAY) if one.press == near.press)
    times = np.linspace(DEMO.begin, DEMO.d0 + 20 * HOUR, 5000).astype(np.int64)
    assert (near.strokes(times) == far.strokes(times)).all()
    assert (near.counter(times) == far.counter(times)).all()


def test_the_same_demo_again_is_the_same_plant(works):
    again = Works(Demo(DEMO.seed, DEMO.first_day), PRESSES[:2])
    for one, other in zip(works.played[:2], again.played, strict=True):
        assert [(e.at, e.type, e.reason) for e in one.entries] == [
            (e.at, e.type, e.reason) for e in other.entries
        ]


def test_another_seed_is_another_plant(works):
    other = Works(Demo(DEMO.seed + 1, DEMO.first_day), PRESSES[:1])
    assert [e.at for e in works.played[0].entries] != [e.at for e in other.played[0].entries]


@pytest.mark.parametrize("press", sorted(BY_NAME))
def test_what_is_counted_is_the_truth_but_for_what_the_flags_admit(truths, press):
    """Counting rule 7, on two years of each press, by the columns that the bulk load uses."""
    one = truths[press]
    reports, last = history(one, loaded_to(DEMO))
    counted = count_columns(columns(one, reports), Rule(one.press.modulus, MAX_SPM))
    flags = [span for span in counted.spans if span.kinds]
    made = one.strokes([reports.made_at[0], reports.made_at[-1]])
    hidden = int(made[1] - made[0]) - counted.total
    assert 0 <= hidden <= sum(span.hidden_at_most for span in flags)
    happened = sum(epoch.kind != "start" for epoch in one.epochs)
    assert len(flags) <= happened + (one.clock is not None) + len(one.silences)
    assert counted.missing == _gaps(reports)
    assert (reports.boots[reports.boot[-1]], int(reports.seq[-1])) == (last.boot, last.seq)


def _gaps(reports):
    same = np.diff(reports.boot) == 0
    return int((np.diff(reports.seq)[same] - 1).sum())


def test_program_download_3_02(truths):
    """131,204,877 -> 1,930 after 170.0 min: counted 1,930, at most 100,120 hidden, 12 in truth."""
    one = truths["harlow-mere/3/02"]
    found = stories.download(DEMO, one.press)
    reports, _ = history(one, loaded_to(DEMO))
    here = [reading for reading in reports.readings() if _near(reading.at, found.last_report, 6)]
    counted = count(here, Rule(one.press.modulus, MAX_SPM))
    (flag,) = counted.flags
    assert (flag.kinds, flag.counted, flag.hidden_at_most) == (("restart",), 1_930, 100_120)
    assert flag.later_at - flag.earlier_at == 170 * MINUTE
    before, after = (reading for reading in here if reading.at in (flag.earlier_at, flag.later_at))
    assert (before.strokes, after.strokes) == (131_204_877, 1_930)
    assert before.boot != after.boot
    made = one.strokes([flag.earlier_at, found.stop, flag.later_at])
    assert np.diff(made).tolist() == [12, 1_930]
    day = from_micros(found.stop).date() - DEMO.first_day.date()
    assert abs(day + timedelta(days=112)) <= timedelta(days=3)


def test_four_hours_without_a_report_1_02(truths):
    """91,200 strokes in 240.0 min on a 16-bit counter read as 25,664; at most 144,050 plausible."""
    one = truths["harlow-mere/1/02"]
    start, end = stories.long_gap(DEMO, one.press)
    reports, _ = history(one, loaded_to(DEMO))
    here = [reading for reading in reports.readings() if _near(reading.at, start, 8)]
    (flag,) = count(here, Rule(2**16, MAX_SPM)).flags
    assert (flag.earlier_at, flag.later_at) == (start, end)
    assert (flag.kinds, flag.counted) == (("wrap",), 25_664)
    assert flag.counted + flag.hidden_at_most == 144_050
    assert np.diff(one.strokes([start, end])).tolist() == [91_200]
    assert flag.counted + 2**16 == 91_200


def _near(at, middle, hours):
    return abs(at - middle) < hours * HOUR


def test_nine_hours_deaf_reports_arrive_later_and_line_2_newest_first(truths):
    deaf = stories.deaf(DEMO)
    assert deaf.end - deaf.start == 9 * HOUR + 20 * MINUTE
    for name, is_newest_first in (("harlow-mere/2/03", True), ("harlow-mere/3/03", False)):
        one = truths[name]
        reports, _ = history(one, loaded_to(DEMO))
        came = arrivals(one, reports)
        assert not ((came >= deaf.start) & (came < deaf.end)).any()
        held = (reports.made_at >= deaf.start) & (reports.made_at < deaf.end - HOUR)
        order = np.diff(came[held])
        late_ones_aside = np.sign(np.median(order))
        assert late_ones_aside == (-1 if is_newest_first else 1)
        assert held.sum() > 40
    assert ((came - reports.made_at) > 5 * MINUTE).mean() == pytest.approx(0.004, abs=0.002)


def test_line_1_reports_a_month_with_a_clock_seven_minutes_fast(truths):
    for name, one in truths.items():
        reports, _ = history(one, loaded_to(DEMO))
        ahead = reports.at - reports.made_at
        share = (ahead == 7 * MINUTE).mean()
        assert share == pytest.approx(30 / 730 if "/1/" in name else 0.0, abs=0.001)
        assert set(np.unique(ahead)) <= {0, 7 * MINUTE}


def test_3_06_runs_eight_percent_faster_since_d_minus_240(truths):
    one = truths["harlow-mere/3/06"]
    reports, _ = history(one, loaded_to(DEMO))
    late = reports.made_at > DEMO.d0 - 236 * DAY
    speed = [np.nanmedian(reports.peak_speed[part]) for part in (~late, late)]
    accel = [np.nanmedian(reports.peak_accel[part]) for part in (~late, late)]
    assert speed[1] == pytest.approx(11.88, abs=0.01)
    assert accel[1] / stroke.STANDARD_GRAVITY == pytest.approx(54.8, abs=0.1)
    for spm, fastest, hardest in zip((400, 432), speed, accel, strict=True):
        assert stroke.ram_ratio(hardest, fastest, spm) == pytest.approx(1.0, abs=0.002)


def test_2_05_gets_rougher_and_not_faster(truths):
    one = truths["harlow-mere/2/05"]
    reports, _ = history(one, loaded_to(DEMO))
    ratio = stroke.drive_ram_ratio(one.press.line.drive)
    for offset, want in ((-60, 1.116), (-9, 1.21), (-3, 1.21)):
        day = np.abs(reports.made_at - DEMO.on_day(offset, time(12))) < 12 * HOUR
        k = np.nanmedian(reports.peak_accel[day]) / np.nanmedian(reports.peak_speed[day])
        assert k / stroke.angular_speed(390.0) == pytest.approx(want, abs=0.006)
    assert ratio == pytest.approx(1.116, abs=0.0005)


def test_reports_without_a_stroke_have_no_peaks(truths):
    one = truths["harlow-mere/1/01"]
    reports, _ = history(one, loaded_to(DEMO))
    made = np.diff(one.strokes(reports.made_at))
    standing = made == 0
    assert standing.sum() > 1000
    whole = np.diff(reports.seq) == 1
    assert np.isnan(reports.peak_speed[1:][standing & whole]).all()
    assert not np.isnan(reports.peak_speed[1:][~standing & whole]).any()


@pytest.mark.parametrize("position", sorted(FIRST_LIVES))
def test_first_lives_have_the_quantiles_of_the_table(position):
    """B10, B50, B90 at 11 m/s, all factors 1, within 2 % (the demo's own table)."""
    rng = np.random.default_rng(7)
    lives = wear.draw(BY_POSITION[position], rng, 300_000).lives(BY_POSITION[position])
    assert np.quantile(lives, [0.1, 0.5, 0.9]) == pytest.approx(FIRST_LIVES[position], rel=0.02)


@pytest.mark.parametrize(
    ("position", "share"), [("punch", 0.16), ("ring-3", 0.11), ("dome-die", 0.12)]
)
def test_sudden_ends_have_the_share_of_the_table(position, share):
    drawn = wear.draw(BY_POSITION[position], np.random.default_rng(8), 200_000)
    worn = wear.wear_ages(BY_POSITION[position], drawn.growth)
    assert (drawn.sudden < worn).mean() == pytest.approx(share, abs=0.01)


def test_duty_counts_a_faster_press_and_inverts():
    duty = wear.duty(BY_NAME["harlow-mere/3/06"], BY_POSITION["ring-3"], [(0.0, 400), (50.0, 432)])
    # 8 % more speed: wear a stroke x 1.105 (the demo's own speed power 1.3).
    assert duty.weights[1] / duty.weights[0] == pytest.approx(1.08**1.3)
    for strokes in (0.0, 10.0, 50.0, 73.5):
        assert duty.strokes_at(duty.until(strokes)) == pytest.approx(strokes)


def test_every_ledger_stands_without_contradiction(works):
    kinds = {position.name: position.kind for position in POSITIONS} | {"press": "press"}
    for played in works.played:
        events = paperwork.events(DEMO, played)
        ledger = replay_all(played, events, kinds)
        sitting = [fit for fit in ledger.fits if fit.pull is None and fit.seat[1] != "press"]
        assert len(sitting) == len(POSITIONS)
        assert all(event.at <= DEMO.first_day for event in events)


def replay_all(played, events, kinds):
    tools = {tool.serial: Tool(tool.serial, tool.kind, tool.new_mm) for tool in played.tools}
    entries = [Entry(event, place) for place, event in enumerate(events)]
    return replay(entries, tools, kinds, frozenset(event.id for event in events))


def test_lives_end_in_every_way_that_the_plant_knows(works):
    ends = [life.end for played in works.played for life in played.lives]
    assert 1_300 < len(ends) < 2_200
    assert {"worn", "planned", "broken", "can-defect", "collateral", "running"} == set(ends)
    assert ends.count("running") == len(PRESSES) * len(POSITIONS)
    first = [life for played in works.played for life in played.lives[: len(POSITIONS)]]
    assert np.mean([life.age_known for life in first]) == pytest.approx(0.7, abs=0.11)


def test_a_life_ends_where_its_truth_says(works):
    """Sudden ends fall on their stroke; worn ones near the limit, by what gauge and looks allow."""
    for played in works.played:
        held = stories.protected(DEMO, played.press)
        for life in played.lives:
            if life.end in ("broken", "can-defect") and not held:
                assert life.pulled_strokes == pytest.approx(life.sudden_at * 1e6, abs=2)
            if life.end == "worn":
                # 3.5 sigma of gauge and day, and 1.5 kelvin: the furthest a reading is off.
                position = life.position
                off = 3.5 * np.hypot(position.noise_um, gauge.SESSION_SIGMA_UM)
                off += gauge.GAUGED[position.name].um_per_k * gauge.WARMEST_K / 2
                worn = life.growth_um * (life.worn_at - life.pulled_strokes / 1e6)
                assert worn < off * 1.1
                assert life.pulled_strokes < 1e6 * life.sudden_at + 1
                late = life.pulled_strokes - life.worn_at * 1e6
                between = life.position.weeks * 2.2 * 7 * 0.6e6
                assert late < between + 1.1 * off / life.growth_um * 1e6
            if life.end != "running":
                strokes = np.array([life.fitted_strokes, life.pulled_strokes])
                assert np.diff(strokes) >= 0


def test_strokes_in_the_ledger_agree_with_the_press(works, truths):
    for played in works.played:
        one = truths[played.press.name]
        for life in played.lives:
            assert int(one.strokes(life.fitted_at)) == pytest.approx(life.fitted_strokes, abs=1)
            if life.pulled_at is not None:
                pulled = int(one.strokes(life.pulled_at))
                assert pulled == pytest.approx(life.pulled_strokes, abs=1)


def test_serials_are_unique_and_carry_their_check_character(works):
    """Source: ISO 7064 MOD 37,36, by python-stdnum."""
    serials = [tool.serial for played in works.played for tool in played.tools]
    assert len(set(serials)) == len(serials) > 900
    assert all(mod_37_36.is_valid(one.replace("-", "")) for one in serials)


@given(st.text(string.digits + string.ascii_uppercase, min_size=1, max_size=20))
@settings(max_examples=200)
def test_check_character_is_that_of_the_standard(text):
    """Source: ISO 7064 MOD 37,36, by python-stdnum."""
    assert check_character(text) == mod_37_36.calc_check_digit(text)


EXAMPLES = (
    *("PU23-0118-0", "RD22-0041-K", "RS24-0207-5", "IR24-0412-M"),
    *("ST25-0733-Q", "DT21-0019-D", "HR22-0026-R"),
)


@pytest.mark.parametrize("whole", EXAMPLES)
def test_serials_of_the_plant(whole):
    head, number, _ = whole.split("-")
    assert serial(LETTERS[head[:2]], 2000 + int(head[2:]), int(number)) == whole


def test_planned_stops_keep_local_time_through_a_clock_change():
    """Europe/London: 07:00 is 07:00 UTC in winter and 06:00 in summer (IANA time zone data)."""
    for line in LINES:
        found = list(planned_stops(line, DEMO.first_day, DEMO.begin, DEMO.d0))
        assert len(found) == 104
        starts = [from_micros(stop.start) for stop in found]
        assert {start.hour for start in starts} == {6, 7}
        assert {start.weekday() for start in starts} == {line.clean_weekday}
        hours = [(stop.end - stop.start) / HOUR for stop in found]
        assert hours.count(24) == 8
        assert hours.count(18) == (4 if line.name == "3" else 0)
        assert len({stop.id for stop in found}) == 104


def test_crews_work_two_days_two_nights_and_have_four_off():
    noon = to_micros(datetime(2026, 2, 2, 12, tzinfo=UTC))
    day = [paperwork.crew_at(noon + n * DAY) for n in range(8)]
    night = [paperwork.crew_at(noon + 12 * HOUR + n * DAY) for n in range(8)]
    turns = [_turn(*crews) for crews in zip(day, night, strict=True)]
    assert sorted(turns) == ["day"] * 2 + ["night"] * 2 + ["off"] * 4
    assert "daydaynightnight" in "".join(turns + turns)


def _turn(day_crew, night_crew):
    return "day" if day_crew == "Alder" else "night" if night_crew == "Alder" else "off"


def test_following_reports_go_on_without_a_gap(truths):
    one = truths["harlow-mere/3/04"]
    reports, last = history(one, loaded_to(DEMO))
    late, then = following(one, last, DEMO.d0, stories.TEN_MINUTES)
    live, end = following(one, then, DEMO.d0 + HOUR, MINUTE)
    assert len(late) in (11, 12)
    assert 60 <= len(live) < 70
    seq = np.concatenate([reports.seq[-1:], late.seq, live.seq])
    assert (np.diff(seq) == 1).all()
    assert (np.diff(late.at) == 10 * MINUTE).all()
    assert (np.diff(live.at) == MINUTE).all()
    assert end.seq == live.seq[-1]
    assert len(following(one, end, end.made_at + 1, MINUTE)[0]) == 0


def test_truth_can_be_written_out(truths):
    record = telling.export(list(truths.values()), DEMO.d0)
    one = record["presses"]["harlow-mere/3/02"]
    assert one["strokes"] == int(truths["harlow-mere/3/02"].strokes(DEMO.d0))
    assert [reset["strokes"] for reset in one["resets"]][1] - one["resets"][0]["strokes"] == (
        131_204_877 + 12
    )
    assert record["presses"]["harlow-mere/1/01"]["clock_steps"][0]["ahead_s"] == 420
    assert record["presses"]["harlow-mere/2/01"]["reboots"]
    reports, _ = history(truths["harlow-mere/3/02"], loaded_to(DEMO))
    assert one["lost_reports"] == _gaps(reports) > 0
    assert sum(life["end"] == "worn" for life in one["lives"]) > 10


def test_merged_stands_and_timeline_agree_with_a_plain_walk():
    rng = np.random.default_rng(3)
    starts = rng.integers(0, 10_000, 40)
    ends = starts + rng.integers(1, 400, 40)
    line = build(0, *merge_stands(starts, ends), [(0, 60), (5_000, 120)])
    stands = np.zeros(11_000, dtype=bool)
    for start, end in zip(starts, ends, strict=True):
        stands[start:end] = True
    rate = np.where(np.arange(11_000) < 5_000, 60, 120) * ~stands
    walked = np.concatenate([[0], np.cumsum(rate)])
    assert (line.work_at(np.arange(11_001)) == walked).all()
    for work in (1, 1_000, int(walked[9_000])):
        at = line.time_of_work(work)
        assert walked[at] >= work > walked[at - 1]


def test_noise_is_the_same_in_any_pieces_and_looks_random():
    stream = noise.key(1, "a press", "speed")
    whole = noise.normal(stream, np.arange(200_000))
    assert (whole[500:700] == noise.normal(stream, np.arange(500, 700))).all()
    assert abs(whole.mean()) < 0.01
    assert whole.std() == pytest.approx(1.0, abs=0.01)
    assert abs(np.corrcoef(whole[:-1], whole[1:])[0, 1]) < 0.01
    other = noise.normal(noise.key(1, "a press", "accel"), np.arange(200_000))
    assert abs(np.corrcoef(whole, other)[0, 1]) < 0.01
