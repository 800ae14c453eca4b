"""What the product counted, read over its API, against the pure rules over all that was sent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import httpx2
import psycopg

from duestroke.counting.batch import count
from duestroke.times import format_time, from_micros
from tests.system.faults.harness import PARTS, UNCOMMITTED, Outcome, Plant
from tests.system.faults.truth import Press


@dataclass(frozen=True)
class Line:
    """One line of the report: what was looked at, what was found, and whether it is as promised."""

    what: str
    found: str
    good: bool


@dataclass(frozen=True)
class Counted:
    """One press as the API tells it."""

    strokes: int
    missing: int
    flags: Counter[tuple[Any, ...]]
    hidden: int


def judge(plant: Plant) -> list[Line]:
    """Every promise with what was found."""
    with plant.api.client() as client:
        counted = {press.name: _counted(client, press.name) for press in plant.outcome.presses}
    lines = [*_of_kills(plant.outcome), *_of_the_run(plant)]
    for press in plant.outcome.presses:
        lines += _of_press(press, counted[press.name])
    return lines


def table(lines: list[Line]) -> str:
    """The lines as text, wrong ones marked."""
    wide = max(len(line.what) for line in lines)
    rows = [
        f"{'ok   ' if line.good else 'WRONG'}  {line.what:{wide}}  {line.found}" for line in lines
    ]
    wrong = sum(not line.good for line in lines)
    return "\n".join([*rows, f"{len(lines)} checks, {wrong} wrong"])


def _of_kills(outcome: Outcome) -> Iterator[Line]:
    for part in PARTS:
        every = [kill.uncommitted for kill in outcome.kills if kill.part == part]
        behind = [uncommitted for uncommitted in every if uncommitted >= UNCOMMITTED]
        yield Line(
            f"kills of {part} with {UNCOMMITTED} reports or more uncommitted",
            f"{len(behind)} of {len(every)}, {min(behind, default=0)} to {max(behind, default=0)}",
            len(behind) >= 5,
        )
    for point in ("written", "committed"):
        number = sum(kill.point == point for kill in outcome.kills)
        yield Line(f"kills of ingestor once {point!r}", str(number), number >= 1)


def _of_the_run(plant: Plant) -> Iterator[Line]:
    outcome = plant.outcome
    made = sum(len(press.sent) for press in outcome.presses)
    with psycopg.connect(plant.database_url) as conn:
        stored, aside = conn.execute(
            "SELECT (SELECT count(*) FROM reading), (SELECT count(*) FROM quarantine)"
        ).fetchone() or (0, 0)
    yield Line("messages left in the spools", str(outcome.spool_left), outcome.spool_left == 0)
    yield Line("rows in quarantine", str(aside), aside == 0)
    yield Line(
        "reports stored of reports made",
        f"{stored} of {made} ({outcome.messages} messages sent)",
        stored == made,
    )
    answers = ", ".join(f"{count} x {what}" for what, count in outcome.api_answers.most_common())
    served = outcome.api_answers["200"]
    yield Line("calls of the API meanwhile", answers, served > 0)
    yield Line("seconds", f"{outcome.seconds:.1f}", True)


def _of_press(press: Press, got: Counted) -> Iterator[Line]:
    rule = count(press.sent, press.rule)
    flags = Counter(
        (
            flag.kinds,
            format_time(from_micros(flag.earlier_at)),
            format_time(from_micros(flag.later_at)),
            flag.counted,
            flag.hidden_at_most,
        )
        for flag in rule.flags
    )
    incidents = press.restarts + press.resets + press.reboots + press.steps
    short = press.strokes - got.strokes
    name = press.name
    yield Line(
        f"{name} strokes = pure rules", f"{got.strokes} = {rule.total}", got.strokes == rule.total
    )
    yield Line(
        f"{name} flags = pure rules",
        f"{got.flags.total()} = {flags.total()}",
        got.flags == flags,
    )
    yield Line(
        f"{name} truth less counted within flags",
        f"{press.strokes} - {got.strokes} = {short}, 0 to {got.hidden}",
        0 <= short <= got.hidden,
    )
    yield Line(
        f"{name} flagged pairs within incidents",
        f"{got.flags.total()} of {press.restarts} restarts, {press.resets} resets, "
        f"{press.reboots} reboots, {press.steps} clock steps",
        got.flags.total() <= incidents,
    )
    yield Line(
        f"{name} missing = gaps of the truth",
        f"{got.missing} = {press.lost}",
        got.missing == press.lost,
    )


def _counted(client: httpx2.Client, press: str) -> Counted:
    strokes = client.get(f"/presses/{press}/strokes").raise_for_status().json()
    flags = list(_flags(client, press))
    assert len(flags) == len(strokes["flags"]), f"{press}: two answers about its flags"
    return Counted(
        strokes["strokes"],
        strokes["missing"],
        Counter(
            (
                tuple(flag["kinds"]),
                flag["from"],
                flag["to"],
                flag["counted"],
                flag["hidden_at_most"],
            )
            for flag in flags
        ),
        sum(flag["hidden_at_most"] for flag in flags),
    )


def _flags(client: httpx2.Client, press: str) -> Iterator[dict[str, Any]]:
    cursor: str | None = None
    while True:
        query = {"press": press, "limit": "1000"} | ({"cursor": cursor} if cursor else {})
        page = client.get("/flags", params=query).raise_for_status().json()
        yield from page["items"]
        cursor = page["next"]
        if cursor is None:
            return
