"""Lives: how long tools of a place last, what ends them, what moves that, and how we know."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final
from urllib.parse import urlencode

from dashboard import life_curve as curve
from dashboard import life_effects as effects
from dashboard import life_lines as lines
from dashboard import life_more as more
from dashboard import life_score as scores
from dashboard import life_what_if as what_if
from dashboard import panels, words
from dashboard.entry_tools import Place
from dashboard.fleet import Document, Fleet
from dashboard.life_facts import Life, Model, More, Score
from dashboard.pages import Ask, Page
from dashboard.reads import Told
from duestroke.names import PRESS_POSITION

FRESH: Final = timedelta(minutes=1)
SLOW_FRESH: Final = timedelta(minutes=15)
WORKED_OUT: Final = ("surprises", "pulls", "goodness_of_fit")
NO_MODEL: Final = (
    "No life model stands for this place: the engine has no handbook life for it and has seen no "
    "life, or has not come round since."
)
WAITS: Final = "Worked out from the lives of this very fit; it takes some seconds."


def document(ask: Ask) -> Document:
    """The page of one kind at one position."""
    fleet = ask.arranged()
    places = ask.sources.reads.items("/positions", Place, fresh_for=timedelta(minutes=5))
    kind, position = _chosen(ask, fleet, places.value or ())
    made: Document = {
        **ask.frame("life", f"Lives of {position}" if position else "Lives", fleet),
        "kind": kind,
        "position": position,
        "picks": _picks(places.value or (), position),
        "serial": ask.param("serial"),
    }
    if not position:
        return made | {"top": _no_place(places), "left": [], "right": []}
    asked = {"kind": kind, "position": position}
    model = ask.sources.reads.one("/life-models", Model, asked | {"with": "curves"}, FRESH)
    lives = ask.sources.reads.items("/lives", Life, asked, FRESH)
    found = lives.value or ()
    made["top"] = {"lead": lines.counted(found) if lives.value is not None else "", "rest": ""}
    if model.value is None:
        return made | {"left": [_model(ask, model, "curve", "Share still sound")], "right": []}
    made["top"]["rest"] = _fit(ask, model.value)
    slow = _slow(ask, model.value)
    return made | {
        "left": _left(ask, model, found, slow),
        "right": _right(ask, fleet, model, model.value, found),
        "wide": _wide(ask, model.value, lives, slow),
    }


def _chosen(ask: Ask, fleet: Fleet, places: Sequence[Place]) -> tuple[str, str]:
    """Kind and position of the address; else the place that most failures are known of."""
    kinds = {each.position: each.kind for each in places}
    given = ask.param("position")
    if given in kinds:
        return ask.param("kind") or kinds[given], given
    known: dict[str, int] = {}
    for tools in fleet.tools.values():
        for tool in tools:
            known[tool.position] = max(known.get(tool.position, 0), tool.basis.failures)
    here = [
        (known.get(each.position, 0), each.order, each.position)
        for each in places
        if each.position != PRESS_POSITION
    ]
    best = max(here, default=None)
    return (kinds[best[2]], best[2]) if best else ("", "")


def _picks(places: Sequence[Place], position: str) -> list[Document]:
    return [
        {
            "key": each.position,
            "href": link(each.kind, each.position),
            "here": each.position == position,
        }
        for each in sorted(places, key=lambda each: each.order)
    ]


def link(kind: str, position: str) -> str:
    """The address of a place."""
    return "/life?" + urlencode({"kind": kind, "position": position})


def _no_place(places: Told[tuple[Place, ...]]) -> Document:
    if places.value is None:
        return {"lead": "The positions could not be read.", "rest": f"{places.fault}."}
    return {"lead": "No position is defined yet.", "rest": "They are set over the API."}


def _fit(ask: Ask, model: Model) -> str:
    made = f"Fit of {words.since(model.made_at, ask.zone, ask.now)}"
    modes = model.modes
    if model.prior_only:
        return f"{made}, from the handbook alone."
    if modes is not None and modes.chance_of_two_laws > 0.5:
        share = "" if modes.sudden_share is None else f", {100 * modes.sudden_share:.0f} % sudden"
        return f"{made}: two ways to end{share}, each fitted with the other cut off."
    return f"{made}: one law for all ends."


def _model(ask: Ask, told: Told[Model], key: str, title: str) -> Document:
    return panels.panel(ask, key, title, told, lambda _: {}, missing=NO_MODEL)


# ---- left: the curve and the lives under it ----


def _left(
    ask: Ask, told: Told[Model], lives: Sequence[Life], slow: Told[More] | None
) -> list[Document]:
    return [
        panels.panel(ask, "curve", "Share still sound", told, lambda m: _curve(ask, m, lives)),
        panels.panel(
            ask,
            "lines",
            "The lives behind it, on the same axis",
            told,
            lambda m: _lines(ask, m, lives),
        ),
        panels.panel(ask, "plot", "On probability paper", told, lambda m: _plot(ask, m)),
        _more(ask, slow, "goodness_of_fit", "How well the laws fit"),
    ]


def _curve(ask: Ask, model: Model, lives: Sequence[Life]) -> Document:
    x = curve.strokes_scale(model, max((life.strokes for life in lives), default=0.0))
    return {
        "chart": curve.chart(model, x, "curve" in ask.opened),
        "sentences": curve.sentences(model),
        "cautions": [effects.sentence(text) for text in model.cautions],
    }


def _lines(ask: Ask, model: Model, lives: Sequence[Life]) -> Document:
    if not lives:
        return {"state": "empty", "rest": "No life of this place is on record yet."}
    x = curve.strokes_scale(model, max(life.strokes for life in lives))
    by = ask.param("by") if ask.param("by") in lines.GROUPINGS else "line"
    return {"drawing": lines.drawing(lives, x, by, ask.param("serial"))}


def _plot(ask: Ask, model: Model) -> Document:
    paper = curve.paper_of(model, ask.param("paper"))
    told = model.curves.probability_plot if model.curves else None
    drawn = curve.plot(model, told, paper, "paper" in ask.opened) if told else None
    if drawn is None:
        return {"state": "empty", "rest": "No end to draw yet."}
    choices = [{"key": key, "word": word, "on": key == paper} for key, word in curve.PAPERS.items()]
    return {"chart": drawn, "choices": choices}


# ---- right: figures, effects, scores ----


def _right(
    ask: Ask, fleet: Fleet, told: Told[Model], model: Model, lives: Sequence[Life]
) -> list[Document]:
    return [
        panels.panel(ask, "figures", "In figures", told, lambda m: _figures(ask, m)),
        panels.panel(
            ask,
            "effects",
            "What moves the life",
            told,
            lambda m: {"effects": effects.effects(m)},
            say="factor on strokes to the end, 90 % interval; the broken line is no effect",
        ),
        _groups(ask, model, "batch"),
        *_scores(ask, model),
        panels.panel(
            ask, "cost", "What running faster costs", told, lambda m: effects.cost_of_rate(m, fleet)
        ),
        _what_if(ask, model, lives),
        panels.panel(ask, "ended", "The last that ended", told, lambda _: _ended(lives)),
    ]


def _figures(ask: Ask, model: Model) -> Document:
    is_open = "parameters" in ask.opened
    return {
        "figures": effects.figures(model),
        "table": effects.parameters(model) if is_open else None,
        "open": is_open,
    }


def _ended(lives: Sequence[Life]) -> Document:
    made = lines.last_ended(lives)
    return {"table": made} if made else {"state": "empty", "rest": "None has ended yet."}


def _scores(ask: Ask, model: Model) -> list[Document]:
    asked = {"kind": model.kind, "position": model.position}
    return [_score(ask, asked, source) for source in scores.SOURCES]


def _score(ask: Ask, asked: dict[str, str], source: str) -> Document:
    key, title = f"score-{source}", f"Past forecasts, {scores.SOURCES[source]}"
    told = ask.sources.reads.later("/forecasts/score", Score, asked | {"source": source}, FRESH)
    if told is None:
        return panels.said(key, title, "loading", "", "Fetching past forecasts.")
    if told.value is not None and not told.value.n:
        return panels.said(key, title, "empty", "", scores.nothing(source))
    shown, opened = f"where-{source}" in ask.opened, f"pit-{source}" in ask.opened
    draw = lambda s: scores.score(s, shown=shown, opened=opened)  # noqa: E731
    return panels.panel(ask, key, title, told, draw)


# ---- below: batches, surprises, pulls, what if, all lives ----


def _slow(ask: Ask, model: Model) -> Told[More] | None:
    asked = {"kind": model.kind, "position": model.position, "with": ",".join(WORKED_OUT)}
    return ask.sources.reads.later("/life-models", More, asked, SLOW_FRESH)


def _wide(
    ask: Ask, model: Model, lives: Told[tuple[Life, ...]], slow: Told[More] | None
) -> list[Document]:
    return [
        _more(ask, slow, "surprises", "Surprises, and what they had in common"),
        _more(ask, slow, "pulls", "Pulled too early, pulled too late"),
        _groups(ask, model, "press"),
        panels.panel(ask, "lives", "All lives", lives, lambda rows: _lives(ask, rows)),
    ]


_TITLES: Final = {
    "batch": "Is a batch worse, or are we unlucky?",
    "press": "Is a press harder on them?",
}


def _groups(ask: Ask, model: Model, kind: str) -> Document:
    made = effects.groups(model, kind, kind in ask.opened)
    if made is None:
        return panels.said(kind, _TITLES[kind], "empty", "", f"No life names its {kind}.")
    say = "median life over that of the others; needed: failures of its own that would show it"
    return panels.said(kind, _TITLES[kind], "shown", "", "", say=say) | made


def _more(ask: Ask, told: Told[More] | None, name: str, title: str) -> Document:
    if told is None:
        return panels.said(name, title, "loading", "", WAITS)
    return panels.panel(ask, name, title, told, lambda m: _worked_out(ask, m, name))


def _worked_out(ask: Ask, told: More, name: str) -> Document:
    if name == "surprises" and told.surprises is not None:
        return more.surprises(ask, told.surprises)
    if name == "pulls" and told.pulls is not None:
        return more.pulls(ask, told.pulls)
    if name == "goodness_of_fit" and told.goodness_of_fit is not None:
        return more.goodness(told.goodness_of_fit)
    return {"state": "empty", "rest": "Nothing to tell: no life of this place has ended."}


def _what_if(ask: Ask, model: Model, lives: Sequence[Life]) -> Document:
    say = "the same reckoning twice, as it is and with what you change; nothing is kept"
    made = panels.said("what-if", "What if", "shown", "", "", say=say)
    return made | {
        "form": what_if.form(ask, model, lives),
        "answer": what_if.answer(ask, model, lives),
    }


def _lives(ask: Ask, lives: Sequence[Life]) -> Document:
    is_open = "lives" in ask.opened
    return {
        "rest": f"{lines.counted(lives)} Each with where it came from.",
        "count": "All of them as a table",
        "table": lines.lives_table(ask, lives) if is_open else None,
        "open": is_open,
    }


PAGE: Final = Page(
    view="life",
    path="/life",
    title="Lives",
    document=document,
    word="Lives",
    assets=("parts.lazy.js", "parts.lazy.css", "forms.lazy.css", "life.lazy.js", "life.lazy.css"),
)
