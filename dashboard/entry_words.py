"""What the entry page says: cautions, reasons, kinds of entry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

CARE: Final = (
    (
        "Before hands go in:",
        "stop, isolate and lock every energy source by your plant’s procedure. Air and oil stay "
        "under pressure after shut-off: release and check. Secure the ram. Try to start: it must "
        "not. This screen does not tell you that the machine is safe.",
    ),
    (
        "Tools may be hot and sharp.",
        "Gloves, eye and ear protection as your plant requires. Lift tool packs with help.",
    ),
)
DUST: Final = (
    "Carbide dust holds cobalt: harmful to breathe and to skin.",
    "Extraction on, no dry sweeping, no air gun, mask and skin protection as your plant requires.",
)
LAW: Final = (
    "Follow local law and site rules. Work on guards, drives, pressure and electrics is for "
    "authorised, qualified people."
)

REASONS: Final = (
    ("worn", "worn", "at its limit"),
    ("broken", "broken", "chip, pick-up"),
    ("can-defect", "can defect", "this tool’s doing"),
    ("planned", "planned", "sound, by plan"),
    ("collateral", "collateral", "hurt by a jam"),
    ("size-change", "size change", "goes on later"),
    ("other", "other", "say what"),
)
"""Why a tool comes out: the API's word, ours, and what it means."""

REASON_WORDS: Final = {value: word for value, word, _ in REASONS}


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of entry. title: before the press or the tool; send: on the button."""

    word: str
    small: str
    title: str
    send: str
    of_press: bool
    """Whether it is about a place in a press; else about a tool by its serial."""


KINDS: Final = {
    "exchange": Kind("exchange or fit", "one out, one in", "Exchange a tool in", "exchange", True),
    "pull": Kind("pull", "out, none in", "Pull a tool from", "pull", True),
    "inspect": Kind("inspect", "a look or a reading", "Inspect a tool in", "inspection", True),
    "service": Kind("service", "of the press itself", "Service of press", "service", True),
    "send": Kind("send out", "for rework", "Send a tool out", "sending", False),
    "rework": Kind("back from rework", "with its size", "Back from rework", "rework", False),
    "shelve": Kind("shelve", "sound, back on the shelf", "Shelve a tool", "shelving", False),
    "scrap": Kind("scrap", "its last entry", "Scrap a tool", "scrapping", False),
    "register": Kind("new tool", "never here before", "Register a tool", "new tool", False),
    "lately": Kind("correct or take back", "an entry made", "Entered lately in", "", True),
}
VOID: Final = Kind("take back", "", "Take back an entry of", "taking back", True)
"""Kinds of entry by name, in the order in which they are offered."""

EVENT_WORDS: Final = {
    "fit": "fitted",
    "pull": "pulled",
    "send": "sent out",
    "rework": "back from rework",
    "shelve": "shelved",
    "scrap": "scrapped",
    "service": "serviced",
}
