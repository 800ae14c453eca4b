"""Ports: a taken one is said before anything starts, 0 becomes a free one."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Sequence
from typing import NamedTuple


class PortTaken(Exception):
    """Someone listens there already; the message is one line that names the option."""


class Wanted(NamedTuple):
    """A port as an option asks for it; 0 asks for any free one."""

    option: str
    host: str
    port: int


def claim(wanted: Sequence[Wanted]) -> list[int]:
    """The ports to use, all different, in the order asked. Raises PortTaken."""
    with contextlib.ExitStack() as held:
        # All are held at once, so that no free one is given out twice.
        return [_port_of(held.enter_context(_bound(one))) for one in wanted]


def _bound(wanted: Wanted) -> socket.socket:
    family = socket.AF_INET6 if ":" in wanted.host else socket.AF_INET
    probe = socket.socket(family, socket.SOCK_STREAM)
    # As servers do: a port whose last connections are still closing is free.
    probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        probe.bind((wanted.host, wanted.port))
        probe.listen(1)
    except OSError as failed:
        probe.close()
        raise PortTaken(
            f"{wanted.option} {wanted.port}: can't listen on {wanted.host} ({failed.strerror}); "
            "give another port, or 0 for a free one"
        ) from None
    return probe


def _port_of(probe: socket.socket) -> int:
    return int(probe.getsockname()[1])
