"""The top of the page of one press: its name, what matters about it in words, its last report."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from dashboard import counter, rows, words
from dashboard import fleet as fleets
from dashboard.client import Forecast
from dashboard.fleet import Document
from dashboard.sight import MOST_NAMED, Sight
from duestroke.names import PRESS_POSITION
from duestroke.stroke import STANDARD_GRAVITY

LEADS: Final = {
    "overdue": "{} is overdue.",
    "this-stop": "{} is to be changed at the next stop.",
    "plan": "{} will be wanted at the stop after next.",
    "fine": "Nothing is wanted at the next two stops.",
}
PRESS_LEADS: Final = LEADS | {
    "overdue": "The press itself is overdue.",
    "this-stop": "The press itself is to be serviced at the next stop.",
    "plan": "The press itself will be due at the stop after next.",
}
NO_TOOL: Final = (
    "No range yet.",
    "No tool is recorded in this press. Enter the tools that are in with the API: "
    "POST /api/v1/tool-events.",
)


def top(sight: Sight) -> Document:
    """Name, state, paragraph and figures of the press, as its worst tool has them."""
    worst = next(iter(sight.fleet.tools.get(sight.press.press, ())), None)
    lead, rest = _paragraph(sight, worst)
    return {
        "id": words.press_id(sight.press.press),
        "name": sight.press.press,
        **rows.state(worst),
        "lead": lead,
        "rest": rest,
        "silent": fleets.is_silent(sight.press, sight.fleet.now),
        "figures": _figures(sight, worst),
    }


def _paragraph(sight: Sight, worst: Forecast | None) -> tuple[str, str]:
    """What matters about the press, in plain words: the worst tool, the others, the count."""
    if worst is None:
        if sight.fleet.answers.forecasts is None:
            why = (sight.fleet.answers.faults or ("the API gave no answer",))[0]
            return "Ranges could not be read.", f"{words.sentence(why, *_when(sight))}"
        return NO_TOOL
    count = _joined(_question_sentence(sight), _count_sentence(sight))
    why = rows.reason(sight.fleet, worst)
    if worst.state == "cant-tell":
        return _cannot_tell(sight), _joined(why, count)
    if worst.state == "fine":
        why = f"First to come is {_named(worst)}: {rows.due_range(sight.fleet, worst)}."
    leads = PRESS_LEADS if worst.position == PRESS_POSITION else LEADS
    lead = leads[worst.state].format(_capital(_named(worst)))
    return lead, _joined(why, _others(sight, worst), count)


def _when(sight: Sight) -> tuple[Any, datetime]:
    return sight.fleet.zone, sight.fleet.now


def _joined(*sentences: str) -> str:
    return " ".join(each for each in sentences if each)


def _named(tool: Forecast) -> str:
    return "the press itself" if tool.position == PRESS_POSITION else tool.position


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _cannot_tell(sight: Sight) -> str:
    tools = sight.tools.values()
    doubted = [tool for tool in tools if tool.state == "cant-tell"]
    if len(doubted) == 1:
        return f"The range of {_named(doubted[0])} can’t be told now."
    of = "all its tools" if len(doubted) == len(tools) else f"{len(doubted)} of its tools"
    return f"The ranges of {of} can’t be told now."


def _others(sight: Sight, worst: Forecast) -> str:
    """The other tools that need someone, if any."""
    calls = [
        f"{_named(tool)} ({words.STATE_WORDS[tool.state]})"
        for tool in sight.fleet.tools[sight.press.press]
        if tool is not worst and tool.state in rows.NEEDS_SOMEONE
    ]
    return f"Also: {words.listed(calls, MOST_NAMED)}." if calls else ""


def _question_sentence(sight: Sight) -> str:
    """What readings ask back, the newest in full; never answered by the board."""
    asked = sight.record.questions or ()
    if not asked:
        return ""
    newest = max(asked, key=lambda each: each.raised_at)
    more = f" {len(asked) - 1} more wait for an answer." if len(asked) > 1 else ""
    return f"A question: {words.sentence(newest.words, *_when(sight))}{more}"


def _count_sentence(sight: Sight) -> str:
    open_ones = [flag for flag in sight.record.flags or () if flag.settled is None]
    hidden = counter.hidden_since(open_ones, None)
    if not hidden:
        return ""
    flags = "A flag is" if len(open_ones) == 1 else f"{len(open_ones)} flags are"
    return f"{flags} not settled: at most {hidden:,} strokes are hidden from its count."


def _figures(sight: Sight, worst: Forecast | None) -> list[str]:
    """Pace and peaks of the last report, and how far the counts go."""
    press, fleet = sight.press, sight.fleet
    pace = rows.pace(fleet, press)["text"]
    last = press.last_report
    if last is None:
        return [pace]
    peaks = [pace]
    if last.peak_speed_mps is not None:
        peaks.append(f"{last.peak_speed_mps:.1f}{words.NB}m/s")
    if last.peak_accel_mps2 is not None:
        peaks.append(f"{last.peak_accel_mps2 / STANDARD_GRAVITY:.1f}{words.NB}g{words.NB}peak")
    upto = [f"counts up to {words.since(last.at, fleet.zone, fleet.now)}"]
    if worst is not None and worst.rate is not None:
        upto.append(f"{words.strokes(worst.rate.strokes_per_day)} a running day")
    return [" · ".join(peaks), " · ".join(upto)]
