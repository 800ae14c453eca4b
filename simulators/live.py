"""Live presses: each minute a report, through a gateway with its own spool; one will a press."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from duestroke.messages.encode import encode_status, payloads
from duestroke.messages.status import State
from duestroke.messages.topics import report_topic, status_topic
from duestroke.times import from_micros, to_micros
from simulators import stories
from simulators.gateway import Account, Gateway
from simulators.plant import DAY, MINUTE, Press
from simulators.reports import Sent, following
from simulators.spool import Spool
from simulators.truth import PressTruth
from simulators.works import Works, begin

log = logging.getLogger(__name__)

TICK_S: Final = 0.5
AFTER_A_PAUSE: Final = 11 * MINUTE
"""A gateway that has been away for longer sends what it missed ten minutes apart."""
HORIZON: Final = 30 * DAY


def _clock() -> datetime:
    return datetime.now(UTC)


class LivePress:
    """One press at its gateway: what it has to report, and whether it runs."""

    def __init__(self, truth: PressTruth, sent: Sent, account: Account, spool: Spool) -> None:
        self.truth, self.sent, self._account, self._spool = truth, sent, account, spool
        self._said: State | None = None
        self._gateway: Gateway | None = None

    @property
    def name(self) -> str:
        return self.truth.press.name

    def connect(self, now: datetime) -> None:
        """Connect, leaving a will with the broker that says `offline`."""
        will = (status_topic(self.name), encode_status("offline", now))
        self._gateway = Gateway(self._account, self.name, self._spool, will=will)
        self._gateway.start()

    def say_offline(self, now: datetime) -> None:
        """Say what the will would say, and begin to leave."""
        if self._gateway is not None:
            if self._gateway.is_connected:
                self._gateway.say(status_topic(self.name), encode_status("offline", now))
            self._gateway.leave()

    def disconnect(self) -> None:
        """Leave for good."""
        if self._gateway is not None:
            self._gateway.stop()

    def tick(self, now: datetime) -> int:
        """Make the reports that are due, send what waits, say the state; reports made."""
        made = self._report(to_micros(now))
        if self._gateway is not None:
            self._say_state(self._gateway, now)
            self._gateway.pump()
        return made

    def _report(self, now: int) -> int:
        made = 0
        if now - self.sent.made_at > AFTER_A_PAUSE:
            made += self._make(now, stories.TEN_MINUTES)
        return made + self._make(now, MINUTE)

    def _make(self, now: int, every: int) -> int:
        found, last = following(self.truth, self.sent, now, every)
        if len(found):
            topic = report_topic(self.name)
            parts = [(self.name, topic, part) for part in payloads(found.readings())]
            self._spool.put(parts, {self.name: last})
            self.sent = last
        return len(found)

    def _say_state(self, gateway: Gateway, now: datetime) -> None:
        state: State = "running" if self.truth.timeline.running(to_micros(now)) else "stopped"
        fresh = gateway.is_fresh()
        if gateway.is_connected and (fresh or state != self._said):
            gateway.say(status_topic(self.name), encode_status(state, now))
            self._said = state


def run(
    *,
    mqtt_host: str,
    mqtt_port: int,
    username: str | None,
    password: str | None,
    data_dir: Path,
    stop: threading.Event,
    beat: Callable[[], None] = lambda: None,
    now: Callable[[], datetime] = _clock,
    presses: Sequence[Press] | None = None,
) -> None:
    """Report for every press of the demo in `data_dir` until `stop` is set.

    data_dir: holds the demo's state and a spool a line (`gateway-1.sqlite`), so that the next start
    goes on where this one was.  beat: called at each turn.  now: the clock.
    """
    works = Works(begin(data_dir, now()), presses)
    account = Account(mqtt_host, mqtt_port, username, password)
    with ExitStack() as stack:
        spools = {
            line.name: stack.enter_context(Spool(data_dir / f"gateway-{line.name}.sqlite"))
            for line in works.demo.plant.lines
        }
        horizon = to_micros(now()) + HORIZON
        live = [
            _press(works, truth, account, spools[truth.press.line.name])
            for truth in works.truths(horizon)
        ]
        _serve(live, works, stop=stop, beat=beat, now=now, horizon=horizon)


def _serve(
    presses: Sequence[LivePress],
    works: Works,
    *,
    stop: threading.Event,
    beat: Callable[[], None],
    now: Callable[[], datetime],
    horizon: int,
) -> None:
    for press in presses:
        press.connect(now())
    log.info("%d presses live", len(presses), extra={"action": "presses-live"})
    try:
        while not stop.is_set():
            horizon = _look_ahead(presses, works, to_micros(now()), horizon)
            for press in presses:
                press.tick(now())
            beat()
            stop.wait(TICK_S)
    finally:
        for press in presses:
            press.say_offline(now())
        for press in presses:
            press.disconnect()


def _press(works: Works, truth: PressTruth, account: Account, spool: Spool) -> LivePress:
    sent = spool.progress().get(truth.press.name)
    return LivePress(truth, sent or works.last_loaded(truth), account, spool)


def _look_ahead(presses: Sequence[LivePress], works: Works, now: int, horizon: int) -> int:
    """Before the known truth ends, take the same truth with a later end."""
    if now < horizon - DAY:
        return horizon
    horizon = now + HORIZON
    for press, truth in zip(presses, works.truths(horizon), strict=True):
        press.truth = truth
    log.info(
        "truth known up to %s",
        from_micros(horizon).isoformat(),
        extra={"action": "truth-extended"},
    )
    return horizon
