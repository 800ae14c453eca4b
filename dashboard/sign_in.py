"""Signing in: a token is pasted once; from then on a session stands for it."""

from __future__ import annotations

from typing import Final

from dashboard.fleet import Document
from dashboard.pages import Ask, Page

HOW: Final = (
    "Paste the token that an administrator of this plant gave you. It is sent once, kept on the "
    "server, and stands in no address and on no page."
)


def document(ask: Ask) -> Document:
    """The page: who is signed in, or the one field. Shows nothing of the plant."""
    return {
        "view": "sign-in",
        "title": "Sign in · Duestroke",
        "head": {"site": "", "others": [], "now": "", "offset": "", "counts": "", "reporting": "",
                 "gap": ""},
        "bar": None,
        "sign_in": {"says": HOW, "next": ask.param("next")},
        "foot": "Duestroke only reads from machines: no screen is proof that a machine is safe.",
    }  # fmt: skip


PAGE: Final = Page(
    view="sign-in",
    path="/sign-in",
    title="Sign in",
    document=document,
    assets=("sign_in.lazy.js", "forms.lazy.css"),
    is_open=True,
)
