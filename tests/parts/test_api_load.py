"""Many callers at once on few connections: everybody is served, nobody waits for a time-out."""

from __future__ import annotations

import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

CALLERS = 120
"""More than the framework's 40 worker threads; the fixture's pool holds two connections."""


def test_callers_beyond_threads_and_connections_are_all_served(api):
    """Waiting for a connection inside a worker thread would leave none to give one back."""
    together = threading.Barrier(CALLERS)

    def call(number: int) -> int:
        together.wait(20)
        path = "/presses" if number % 2 else "/tokens"
        return api.get(path, role="admin").status_code

    begun = time.monotonic()
    with ThreadPoolExecutor(CALLERS) as callers:
        statuses = Counter(callers.map(call, range(CALLERS)))
    assert statuses == {200: CALLERS}
    assert time.monotonic() - begun < 10


def test_two_senders_of_one_id_at_once_make_one_token(api):
    """One gets 201 and the token, the others 200 without it."""
    together = threading.Barrier(8)
    body = {"id": "gate", "name": "Gate", "role": "viewer"}

    def send(_: int):
        together.wait(20)
        return api.post("/tokens", body)

    with ThreadPoolExecutor(8) as senders:
        answers = list(senders.map(send, range(8)))
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 7}
    assert len([1 for answer in answers if answer.json()["token"]]) == 1


def test_two_engineers_register_one_press_at_once(api):
    together = threading.Barrier(8)

    def put(_: int):
        together.wait(20)
        return api.put("/presses/harlow-mere/2/07", {"max_spm": 400})

    with ThreadPoolExecutor(8) as senders:
        statuses = Counter(answer.status_code for answer in senders.map(put, range(8)))
    assert statuses == {201: 1, 200: 7}
