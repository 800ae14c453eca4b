"""The Lives page from the API's answers: curves, lines, effects, batches, scores, what if.

The answers are the project's own read-outs of fixed lives, so that shapes are the API's.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import msgspec
import pytest

from dashboard import life_curve as curve
from dashboard import life_effects as effects
from dashboard import life_lines as lines
from dashboard import life_more as more
from dashboard import life_score as scores
from dashboard import life_what_if as what_if
from dashboard.charts import Scale
from dashboard.client import Reply
from dashboard.life_facts import CurvePoint, Figure, Life, Model, More, Score
from dashboard.reads import Told
from tests.browser import fake_life
from tests.browser.fake_api import NOW

ASK = SimpleNamespace(zone=ZoneInfo("Europe/London"), now=NOW)


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.fixture(scope="module")
def model():
    return msgspec.convert(fake_life.model("curves"), Model)


@pytest.fixture(scope="module")
def lives():
    return tuple(
        msgspec.convert([fake_life.told_life(one) for one in fake_life.lives()], list[Life])
    )


@pytest.fixture(scope="module")
def worked_out():
    told = {name: fake_life.worked_out(name) for name in ("surprises", "pulls", "goodness_of_fit")}
    return msgspec.convert(told, More)


# ---- curves ----


def test_an_age_is_read_off_between_two_points_and_an_edge_that_is_not_reached_is_not_known():
    points = [
        CurvePoint(0.0, 1.0, 1.0, 1.0),
        CurvePoint(10.0, 0.6, 0.5, 0.8),
        CurvePoint(20.0, 0.2, 0.1, 0.6),
    ]
    found = curve.read_off(points, 0.5)
    assert found.median == pytest.approx(12.5)
    assert found.low == pytest.approx(10.0)
    assert found.high is None
    assert curve.read_off(points, 0.1) is None


def test_the_curve_names_its_ages_and_keeps_one_stroke_axis_with_the_lives(model, lives):
    longest = max(life.strokes for life in lives)
    x = curve.strokes_scale(model, longest)
    made = curve.chart(model, x, opened=True)
    assert [each["key"] for each in made["labels"]] == ["B10", "B50", "B90"]
    for label, figure in zip(made["labels"], (model.b10, model.median_life), strict=False):
        assert label["left"] == pytest.approx(100 * figure.median / 1e6 / x.high, abs=0.01)
    kinds = [each["kind"] for each in made["series"]]
    assert kinds == ["band", "alone", "line", "model", "model"]
    assert len(made["table"]["rows"]) == len(model.step_curve) + len(model.model_curve)
    drawn = lines.drawing(lives, x, "line")
    assert drawn["x"]["ticks"] == made["x"]["ticks"]


def test_the_sentences_say_why_the_lines_differ_and_which_one_forecasts_use(model):
    steps, smooth = curve.sentences(model)
    pulls = model.planned_pulls
    said = f"{pulls.close_to_limit} of {pulls.pulls} planned pulls were last read above 85 %."
    assert said in steps["rest"]
    assert "One law on it would give a median of" in steps["rest"]
    assert smooth["rest"].endswith("Forecasts use this one.")
    assert "sudden ends apart" in smooth["rest"]
    bare = msgspec.structs.replace(model, step_curve=(), prior_only=True)
    assert "none yet" in curve.sentences(bare)[0]["rest"]
    assert "handbook alone" in curve.sentences(bare)[1]["rest"]


def test_heights_on_paper_are_the_linear_forms_of_the_two_laws():
    """Source: definition of the laws. A Weibull law has log(-log(1-F)) linear in log strokes with
    the shape as slope; a lognormal one has the normal quantile of F linear in it.
    """
    shape, scale = 2.5, 40.0
    for at in (10.0, 20.0, 60.0):
        share = 1 - math.exp(-((at / scale) ** shape))
        expected = shape * math.log(at / scale)
        assert curve.height(share, "weibull") == pytest.approx(expected)
    assert curve.height(0.975, "lognormal") == pytest.approx(1.959964, abs=1e-6)


def test_the_paper_agrees_with_the_heights_of_the_api(model):
    for point in model.curves.probability_plot.points:
        assert curve.height(point.share, "weibull") == pytest.approx(point.weibull, abs=1e-5)
        assert curve.height(point.share, "lognormal") == pytest.approx(point.lognormal, abs=1e-5)
    paper = curve.paper_of(model, "")
    assert model.families[paper] == max(model.families.values())
    made = curve.plot(model, model.curves.probability_plot, "weibull", opened=False)
    assert len(made["points"]) == len(model.curves.probability_plot.points)


# ---- lives as lines ----


def test_every_life_is_a_line_with_its_end(lives):
    x = Scale("strokes", 0.0, 50.0, [(0.0, "0"), (50.0, "50")])
    made = lines.drawing(lives, x, "line")
    assert [each["text"] for each in made["groups"]] == ["line 1", "line 2", "line 3"]
    worn = sum(life.end == "worn" for life in lives)
    broken = sum(life.end == "broken" for life in lives)
    assert made["paths"]["worn"].count("M") == worn
    assert made["paths"]["broken"].count("M") == 2 * broken
    late = next(life for life in lives if life.entry_strokes)
    start = round(1000 * late.entry_strokes / 1e6 / 50, 1)
    assert f"M{start:g} " in made["paths"]["life"]
    assert "54 of" not in made["note"]


def test_many_lives_are_thinned_evenly_and_said_and_the_marked_one_stays(lives):
    many = [msgspec.structs.replace(each, id=f"{each.id}-{k}") for k in range(5) for each in lives]
    many[1] = msgspec.structs.replace(many[1], serial="MARKED")
    shown = lines.thinned(many, "MARKED")
    assert lines.MOST_DRAWN <= len(shown) <= lines.MOST_DRAWN + 1
    assert any(life.serial == "MARKED" for life in shown)
    made = lines.drawing(many, Scale("s", 0.0, 50.0, []), "press", "MARKED")
    assert f"of {len(many)} lives are drawn, taken evenly." in made["note"]
    assert made["paths"]["marked"]


def test_groups_and_counts_are_in_words(lives):
    counted = lines.counted(lives)
    assert counted.startswith("54 lives: ")
    assert sum(int(part.split()[0]) for part in counted[10:].split(", ")) == 54
    assert {lines.group_of(life, "number") for life in lives} == {"new", "after 1 rework"}
    assert (
        lines.group_of(msgspec.structs.replace(lives[0], press=None), "line") == "press not known"
    )
    assert lines.counted(()) == "No life yet."


def test_the_table_says_what_each_life_is_known_from(lives):
    made = lines.lives_table(ASK, lives)
    assert len(made["rows"]) == len(lives)
    assert made["csv"]["head"][-1] == "source"
    bare = msgspec.structs.replace(lives[0], readings=(), strokes_low=None, end="broken")
    assert lines.known_from(bare) == "the end code alone"
    assert "last found good" in lines.known_from(msgspec.structs.replace(bare, strokes_low=2e6))
    last = lines.last_ended(lives)
    newest = max((life.ended_at for life in lives if life.ended_at), default=None)
    first = next(life for life in lives if life.serial == last["csv"]["rows"][0][0])
    assert first.ended_at == newest
    assert lines.last_ended([life for life in lives if life.end == "running"]) is None


# ---- effects, batches, cost ----


def test_an_exponent_becomes_a_factor_for_a_change_that_can_be_pictured(model):
    rows = {each["key"]: each for each in effects.effects(model)}
    told = model.effects["rate"].interval
    assert rows["rate"]["figure"] == f"{1.08**-told.median:.2f}"
    assert rows["rate"]["range"] == f"{1.08**-told.high:.2f} to {1.08**-told.low:.2f}"
    assert rows["roughness"]["whisker"] is None
    assert rows["roughness"]["note"].startswith(effects.NOT_KNOWN)
    assert effects.whisker(Figure(1.0, 0.01, 99.0)) == {
        **{"none": rows["rate"]["whisker"]["none"], "middle": rows["rate"]["whisker"]["none"]},
        **{"low": 3.0, "high": 147.0},
    }


def test_a_batch_stands_with_its_ratio_and_the_number_needed(model):
    made = effects.groups(model, "batch", is_open=False)
    worst = made["table"]["csv"]["rows"][0]
    group = min(model.groups["batch"].groups, key=lambda each: each.ratio.median)
    assert worst[0] == group.label == "RB-2403"
    assert worst[4] is True
    assert worst[5] == " / ".join(str(count) for count in group.needed.values())
    assert made["words"][-1].endswith("by chance alone.")
    presses = effects.groups(model, "press", is_open=False)
    told = model.groups["press"].groups
    assert len(presses["table"]["rows"]) == sum(each.differs for each in told)
    assert len(effects.groups(model, "press", is_open=True)["table"]["rows"]) == len(told)
    none = msgspec.structs.replace(model, groups={})
    assert effects.groups(none, "batch", is_open=False) is None


def test_what_a_faster_line_costs_follows_pace_and_exponent(model):
    rate = SimpleNamespace(strokes_per_day=500_000.0)
    tool = SimpleNamespace(position="ring-3", rate=rate)
    fleet = SimpleNamespace(tools={"harlow-mere/3/01": (tool,), "harlow-mere/3/02": (tool,)})
    made = effects.cost_of_rate(model, fleet)
    (row,) = made["table"]["csv"]["rows"]
    line = next(each for each in model.by_line if each.line == "harlow-mere/3")
    now = 30.4 * 1e6 / line.median_life.median
    exponent = model.effects["rate"].interval.median
    assert row[3] == pytest.approx(now)
    assert row[4] == pytest.approx(now * 1.08 ** (1 + exponent))
    dark = msgspec.structs.replace(
        model, effects={"rate": msgspec.structs.replace(model.effects["rate"], known=False)}
    )
    assert effects.cost_of_rate(dark, fleet)["lead"] == "Can’t tell from these records."


def test_a_remark_of_the_api_becomes_a_sentence():
    said = effects.sentence("harlow-mere/3: 5 of 8 pulls at harlow-mere/3/02, weibull")
    assert plain(said) == "Line 3: 5 of 8 pulls at 3 02, Weibull."


# ---- surprises, pulls, goodness, scores ----


def test_surprises_and_pulls_keep_every_figure_of_the_api(worked_out):
    made = more.surprises(ASK, worked_out.surprises)
    shared, last = made["tables"]
    assert [row[0] for row in last["csv"]["rows"]] == [s.serial for s in worked_out.surprises.last]
    assert shared["csv"]["rows"][0][4] == worked_out.surprises.in_common[0].chance
    assert "lie outside their 80 % range" in made["words"][0]
    left = more.pulls(ASK, worked_out.pulls)["tables"][0]
    assert left["csv"]["rows"][0][2] == worked_out.pulls.all.median_share_left
    assert left["csv"]["rows"][1][2] is None
    assert len(left["rows"]) == 1 + len(worked_out.pulls.by_line)
    assert len(more.goodness(worked_out.goodness_of_fit)["words"]) >= 2


def test_a_score_says_what_held_with_bounds_and_what_is_not_known():
    told = msgspec.convert(fake_life.score("live"), Score)
    made = scores.score(told, shown=True, opened=False)
    held = {row[0]: row for row in made["table"]["csv"]["rows"]}
    assert held["80 % of strokes"][1] == told.coverage["0.8"].share
    assert plain(made["lead"]) == "90 forecasts of 30 lives, 90 of them seen to the end."
    assert made["chart"]["points"]
    assert scores.score(told, shown=False, opened=False)["chart"] is None
    dark = msgspec.structs.replace(told.coverage["0.8"], share=None)
    none = scores.score(
        msgspec.structs.replace(told, coverage={"0.8": dark}, due_coverage={}),
        shown=False,
        opened=False,
    )
    assert none["table"]["rows"][0]["cells"][1] == "can’t tell"


# ---- what if ----


@pytest.mark.parametrize(
    ("params", "body"),
    [
        ({"rate": "108"}, {"rate_factor": 1.08}),
        ({"limit": "90", "handbook": "40"}, {"limit_factor": 0.9, "handbook_life": 40e6}),
        (
            {"spread": "0,5", "weight": "0.3"},
            {"handbook_spread": 0.5, "prior": {"median_scale": 0.3}},
        ),
    ],
    ids=["rate", "limit-and-handbook", "prior"],
)
def test_the_form_becomes_the_question_of_the_api(params, body):
    assert what_if.question(params, ()) == (body, "")


@pytest.mark.parametrize(
    "params", [{}, {"rate": "fast"}, {"rate": "9999"}, {"limit": "nan"}], ids=str
)
def test_a_form_that_asks_nothing_or_nonsense_says_so(params):
    body, wrong = what_if.question(params, ())
    assert body == {}
    assert wrong


def test_lives_are_left_out_by_batch_or_by_where_they_came_from(lives):
    batch = what_if.left_out("batch:RB-2403", lives)
    assert batch == sorted(life.id for life in lives if life.batch == "RB-2403")
    assert set(what_if.left_out("sent-in", lives)) == {
        life.id for life in lives if life.source == "imported"
    }
    assert what_if.left_out("", lives) == []
    body, _ = what_if.question({"leave": "batch:RB-2403"}, lives)
    assert body == {"leave_out": batch}


def told_of(reply):
    reads = SimpleNamespace(worked_out=lambda path, body, fresh_for: reply)
    return SimpleNamespace(
        zone=ASK.zone,
        now=NOW,
        params={"rate": "108", "what": "1"},
        param=lambda name: {"rate": "108", "what": "1"}.get(name, ""),
        sources=SimpleNamespace(reads=reads),
    )


def test_the_answer_is_laid_out_or_its_refusal_said(model):
    due = "2026-12-01T06:00:00Z"
    side = {"lives": 54, "failures": 26, "mean_speed_mps": 11.0, "handbook_life": 34e6}
    side |= {name: {"median": 2e7, "low": 1e7, "high": 3e7} for name in ("median_life", "b10")}
    side |= {"spread": {"median": 0.3, "low": 0.2, "high": 0.4}, "handbook_spread": 0.4}
    tool = {
        "press": "harlow-mere/3/06",
        "serial": "IR25-1",
        "now": {"state": "plan", "due": {"0.5": due}},
    }
    tool |= {"changed": {"state": "this-stop", "due": {"0.5": None}}}
    tool |= {"difference": {"due_days": {"0.5": -3.4}}}
    told = {"now": side, "changed": side, "tools": [tool], "tools_not_told": 0, "words": ["a", "b"]}
    told |= {"difference": {"median_life": {"strokes": -1e6, "ratio": 0.91}}}
    made = what_if.answer(told_of(Told(Reply(200, told), NOW)), model, ())
    assert made["lead"] == "Median life 9 % shorter."
    cells = made["tables"][1]["rows"][0]["cells"]
    assert (cells[2], cells[3]["text"], cells[-1]) == ("plan", "this stop", "-3")

    refused = Reply(422, detail="no", errors=[])
    assert what_if.answer(told_of(Told(refused, NOW)), model, ())["rest"] == "No."
    assert what_if.answer(told_of(None), model, ())["state"] == "loading"
    away = Told(None, NOW, "the API gave no answer")
    assert what_if.answer(told_of(away), model, ())["lead"] == "No answer."
    quiet = replace_param(told_of(None))
    assert what_if.answer(quiet, model, ()) == {"state": "none"}


def replace_param(ask):
    return SimpleNamespace(**{**vars(ask), "param": lambda name: ""})
