"""Who looks at the board, and what their role may do."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final, Literal

Role = Literal["viewer", "crew", "engineer", "admin"]

ROLES: Final[tuple[Role, ...]] = ("viewer", "crew", "engineer", "admin")
"""Each may do what the ones before it may, as the API has it."""


@dataclass(frozen=True, slots=True)
class Who:
    """Who asks. `role` is None for somebody who may not even look before signing in.

    name: of the token; empty for who has not signed in.  check: the word that a page of this
    session sends with what it writes; empty where nothing may be written.
    """

    role: Role | None
    name: str = ""
    check: str = ""
    session: str = ""
    ended: bool = False
    """Whether the browser still holds the cookie of a session that is over."""

    @property
    def is_signed_in(self) -> bool:
        """Whether a session stands behind it."""
        return self.name != ""

    def may(self, role: Role) -> bool:
        """Whether the role reaches `role`."""
        return self.role is not None and ROLES.index(self.role) >= ROLES.index(role)


NOBODY: Final = Who(role=None)
LOOKING: Final = Who(role="viewer")
"""Somebody on this machine who has not signed in: may look, and no more."""


@dataclass(frozen=True, slots=True)
class Knock:
    """What a request says of who sent it, before anybody is asked about it.

    session: the id in its cookie, empty without one.  otherwise: who it is where no session stands
    behind that.  address: of the sender.  check: the word of its page.  is_https: whether it came
    over https.
    """

    otherwise: Who = NOBODY
    session: str = ""
    address: str = ""
    check: str = ""
    is_https: bool = False


STRANGER: Final = Knock()

KNOCK: ContextVar[Knock] = ContextVar("KNOCK", default=STRANGER)
"""Of the request under way; the guard sets it."""
