"""What a page of the board is, how an address finds it, and what every page has in common.

A page is one `Page`, listed in `dashboard.site`: its path, its word in the navigation, the role it
needs, and a function from `Ask` to the one document that the page's script draws.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Final, Self
from urllib.parse import quote, urlencode

from dashboard import fleet as fleets
from dashboard import words
from dashboard.access import Role, Who
from dashboard.client import Client
from dashboard.fleet import Answers, Document, Fleet
from dashboard.reads import Reads
from dashboard.source import Records, Source
from duestroke import names

_PARTS: Final = {"press": names.PRESS, "serial": names.SERIAL}
_PART: Final = r"[A-Za-z0-9._-]{1,64}"
_PLACEHOLDER: Final = re.compile(r"\{([a-z_]+)\}")
DAYS: Final = 42


@dataclass(frozen=True, slots=True)
class Sources:
    """Where answers come from: of the whole fleet, of single presses, and anything else."""

    fleet: Source
    presses: Records
    reads: Reads

    @classmethod
    def over(cls, client: Client, now: Callable[[], datetime]) -> Self:
        """Sources that ask through one client."""
        return cls(Source(client, now), Records(client, now), Reads(client, now))

    def zone(self) -> tzinfo:
        """Plant time; UTC before the first answer."""
        seen = self.fleet.read().answers
        return fleets.plant_zone(seen.presses if seen else ())

    def forget(self) -> None:
        """Ask anew for everything: something was written."""
        self.fleet.forget()
        self.presses.forget()
        self.reads.forget()


@dataclass(frozen=True, slots=True)
class Ask:
    """One screen's question. `now`: aware, whole minutes. `params`: of the query and the path.

    opened: names of what the screen shows opened.
    """

    now: datetime
    who: Who
    sources: Sources
    params: Mapping[str, str] = field(default_factory=dict)
    opened: frozenset[str] = frozenset()

    def param(self, name: str) -> str:
        """A parameter, empty where it was not given."""
        return self.params.get(name, "")

    def arranged(self, days: int = DAYS, site: str = "") -> Fleet:
        """The fleet, sorted, on an axis of so many days. Raises Away before the first answer."""
        seen = self.sources.fleet.read()
        if seen.answers is None:
            raise Away(seen.fault)
        return fleets.arrange(seen.answers, self.now, days, site or self.param("site"))

    @property
    def fault(self) -> str:
        """Why the last question about the fleet got no answer, empty when it did."""
        return self.sources.fleet.read().fault

    @property
    def zone(self) -> tzinfo:
        """Plant time; UTC before the first answer."""
        return self.sources.zone()

    def frame(self, view: str, title: str, fleet: Fleet | None = None) -> Document:
        """What every page's document holds: view, title, head, bar and foot."""
        fleet = self.arranged() if fleet is None else fleet
        return {
            "view": view,
            "title": f"{title} · Duestroke",
            "head": fleets.head(fleet),
            "bar": fleets.bar(fleet, self.fault),
            "foot": fleets.foot(fleet),
        }


class Away(Exception):
    """A page has nothing to show yet; says why."""


@dataclass(frozen=True, slots=True)
class Page:
    """One page. `view`: the name under which an asset draws it.

    path: `/tool/{serial}`; `{press}` takes `site/line/press`, any other name one part.
    word: in the navigation, empty where it does not stand there.  role: least that sees it.
    keeps: parameters of the present address that its word in the navigation carries on.
    assets: names in `assets/` that this page alone needs, fetched when it is first shown.
    is_open: whether it is shown to who may not look yet.
    """

    view: str
    path: str
    title: str
    document: Callable[[Ask], Document]
    word: str = ""
    role: Role = "viewer"
    assets: tuple[str, ...] = ()
    is_open: bool = False
    keeps: tuple[str, ...] = ()

    def match(self, path: str) -> dict[str, str] | None:
        """The parts of an address that is this page's, else None."""
        found = re.fullmatch(_pattern(self.path), path)
        return None if found is None else found.groupdict()


def _pattern(path: str) -> str:
    return _PLACEHOLDER.sub(lambda part: f"(?P<{part[1]}>{_PARTS.get(part[1], _PART)})", path)


def find(pages: Sequence[Page], path: str) -> tuple[Page, dict[str, str]] | None:
    """The page of an address with the parts it names, or None."""
    for page in pages:
        parts = page.match(path)
        if parts is not None:
            return page, parts
    return None


def draw(pages: Sequence[Page], ask: Ask, path: str) -> Document:
    """The document for an address, with the navigation of who asks.

    Who may not look yet gets the page that is open to all, whatever the address.
    """
    found = find(pages, path)
    if ask.who.role is None:
        found = next(((page, {}) for page in pages if page.is_open), None)
    if found is None:
        made, page = _refused(ask, "There is no such page.", "The Shift page has the way."), None
    else:
        page, parts = found
        ask = ask_with(ask, parts)
        made = _page(page, ask)
    if ask.who.ended and (page is None or not ask.who.may(page.role)):
        # What is drawn on the screen stays, with what is typed in it; the screen says why.
        made = {**made, "keep": True}
    return {**made, "ways": ways(pages, ask, page, made), "me": _me(ask)}


def ask_with(ask: Ask, parts: Mapping[str, str]) -> Ask:
    """The question with the address's parts among its parameters."""
    return Ask(ask.now, ask.who, ask.sources, {**ask.params, **parts}, ask.opened)


def _page(page: Page, ask: Ask) -> Document:
    if not page.is_open and not ask.who.may(page.role):
        return _refused(ask, *_why(page, ask.who))
    try:
        made = page.document(ask)
    except Away as fault:
        made = away(ask.now, page.view, page.title, str(fault))
    return {**made, "assets": list(page.assets)} if page.assets else made


def _why(page: Page, who: Who) -> tuple[str, str]:
    names_ = {"crew": "the crew", "engineer": "engineers", "admin": "administrators"}
    mine = f"You are signed in as {who.name} ({who.role})." if who.name else "You only look."
    return f"This page is for {names_[page.role]}.", mine


def _refused(ask: Ask, lead: str, rest: str) -> Document:
    """A page in whose place something is said."""
    seen = ask.sources.fleet.read().answers
    fleet = fleets.arrange(seen, ask.now, DAYS) if seen else _bare(ask.now)
    head = fleets.head(fleet)
    return {
        "view": "away",
        "title": "Duestroke",
        "head": head if seen else {**head, "reporting": ""},
        "bar": None,
        "away": {"lead": lead, "rest": rest, "sign_in": not ask.who.is_signed_in},
        "foot": fleets.foot(fleet),
    }


def _bare(now: datetime, days: int = DAYS, fault: str = "") -> Fleet:
    faults = (fault,) if fault else ()
    nothing = Answers(at=now, presses=(), forecasts=None, stops=None, faults=faults)
    return fleets.arrange(nothing, now, days)


def away(now: datetime, view: str, title: str, fault: str) -> Document:
    """The page before the first answer: axis and words, nothing that could pass for data."""
    bare = _bare(now, 21 if view == "wall" else DAYS, fault)
    return {
        "view": view if view in ("wall", "press", "desk") else "away",
        "title": f"{title} · Duestroke",
        "head": {**fleets.head(bare), "reporting": ""},
        "bar": None,
        "axis": {**fleets.axis_head(bare), "note": []},
        "away": {
            "lead": "This page could not be drawn.",
            "rest": f"Asked at {words.clock(now, bare.zone)} UTC: {fault}. "
            "The board asks again by itself; counts go on in the presses.",
        },
        "foot": fleets.foot(bare),
    }


# ---- the navigation ----


def ways(
    pages: Sequence[Page], ask: Ask, page: Page | None, made: Document
) -> list[dict[str, object]]:
    """The navigation: pages that the role may see, other sites, the wall, signing in or out."""
    head = made["head"]
    site = str(head["site"])
    shown = [each for each in pages if each.word and ask.who.may(each.role)]
    links: list[dict[str, object]] = [
        {
            "word": each.word,
            "href": each.path + _query(each, ask, site),
            "here": each is page,
            "key": each.view == "wall",
        }
        for each in shown
    ]
    if ask.who.role is None:
        return links
    return links + [
        {"word": other, "href": f"/?site={quote(str(other))}", "here": False, "key": False}
        for other in head["others"]
    ]


def _query(page: Page, ask: Ask, site: str) -> str:
    kept = {name: ask.param(name) for name in page.keeps if ask.param(name)}
    given = ({"site": site} if site else {}) | kept
    return "?" + urlencode(given, safe="/") if given else ""


def _me(ask: Ask) -> dict[str, object]:
    who = ask.who
    return {
        "name": who.name,
        "role": who.role or "",
        "signed": who.is_signed_in,
        "ended": who.ended,
        "check": who.check,
    }
