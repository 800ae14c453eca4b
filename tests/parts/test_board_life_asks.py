"""What takes the API seconds is asked for once, beside the screens, and again after a fault."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

import httpx2
import pytest

from dashboard.client import ApiFault, Client, Reply
from dashboard.reads import RETRY_AFTER, Reads

NOW = datetime(2026, 11, 23, 6, 2, tzinfo=UTC)
LONG = timedelta(minutes=15)


class SlowClient:
    """Answers when the test lets it."""

    def __init__(self):
        self.let, self.answered = threading.Semaphore(0), threading.Semaphore(0)
        self.asked, self.fault = 0, ""

    def one(self, path, asked, kind, *, patient=False):
        assert patient
        return self._wait(f"{path} {self.asked}")

    def worked_out(self, path, body):
        return self._wait(Reply(200, body))

    def _wait(self, value):
        self.asked += 1
        assert self.let.acquire(timeout=10)
        if self.fault:
            raise ApiFault(self.fault)
        return value


class Stand:
    def __init__(self):
        self.client, self.at = SlowClient(), NOW
        self.reads = Reads(self.client, lambda: self.at)

    def ask(self):
        return self.reads.later("/slow", str, {"with": "pulls"}, LONG)

    def come(self):
        """Let one answer come, and wait until it is held."""
        self.client.let.release()
        for thread in threading.enumerate():
            if thread is not threading.current_thread() and thread.daemon:
                thread.join(0.5)


@pytest.fixture
def stand():
    return Stand()


def test_it_is_none_until_it_has_come_and_asked_once_however_many_want_it(stand):
    assert [stand.ask() for _ in range(5)] == [None] * 5
    stand.come()
    assert stand.client.asked == 1
    assert stand.ask().value == "/slow 0"
    stand.at += LONG - timedelta(seconds=1)
    assert stand.ask().value == "/slow 0"
    assert stand.client.asked == 1


def test_what_is_old_stays_while_the_new_one_is_worked_out(stand):
    stand.ask()
    stand.come()
    stand.at += LONG
    assert stand.ask().value == "/slow 0"
    stand.come()
    assert stand.ask().value == "/slow 1"


def test_after_a_fault_it_is_asked_again_soon(stand):
    stand.client.fault = "the API gave no answer"
    stand.ask()
    stand.come()
    assert stand.ask().fault == "the API gave no answer"
    assert stand.client.asked == 1
    stand.client.fault = ""
    stand.at += RETRY_AFTER
    stand.ask()
    stand.come()
    assert stand.ask().value == "/slow 1"


def test_a_question_is_known_by_its_whole_content(stand):
    ask = lambda body: stand.reads.worked_out("/what-if", body, LONG)  # noqa: E731
    assert ask({"rate_factor": 1.1, "kind": "punch"}) is None
    stand.come()
    assert ask({"kind": "punch", "rate_factor": 1.1}).value.body["rate_factor"] == 1.1
    assert ask({"kind": "punch", "rate_factor": 1.2}) is None
    stand.come()
    assert stand.client.asked == 2


@pytest.mark.parametrize(
    ("status", "body", "told"),
    [
        (200, {"a": 1}, Reply(200, {"a": 1})),
        (422, {"detail": "no", "errors": []}, Reply(422, detail="no", errors=[])),
    ],
    ids=["answered", "refused"],
)
def test_the_client_tells_an_answer_and_a_refusal(monkeypatch, status, body, told):
    client = Client("http://127.0.0.1:9", "token")
    post = lambda path, json, timeout: httpx2.Response(status, json=body)  # noqa: E731
    monkeypatch.setattr(client._http, "post", post)
    assert client.worked_out("/life-models/what-if", {}) == told
    client.close()


@pytest.mark.parametrize("status", [401, 500, 503])
def test_the_client_raises_where_there_is_nothing_to_show(monkeypatch, status):
    client = Client("http://127.0.0.1:9", "token")
    post = lambda path, json, timeout: httpx2.Response(status, json={})  # noqa: E731
    monkeypatch.setattr(client._http, "post", post)
    with pytest.raises(ApiFault):
        client.worked_out("/life-models/what-if", {})
    client.close()
