"""Which parts a run has, in which order, and what each is told."""

from __future__ import annotations

import os
import signal
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final
from urllib.parse import quote

from launch import broker, postgres
from launch.datadir import Secrets
from launch.part import Part
from launch.probes import broker_answers, file_appears, http_ok, postgres_answers
from launch.settings import PREFIX

LOOPBACK: Final = "127.0.0.1"
_PASSED_ON: Final = frozenset({PREFIX + "LOG_LEVEL"})


@dataclass(frozen=True)
class Run:
    """Everything that the parts of one run have in common."""

    data_dir: Path
    host: str
    api_port: int
    board_host: str
    board_port: int
    listener: broker.Listener
    secrets: Secrets = field(repr=False)
    database_url: str

    @property
    def seen_at(self) -> str:
        """The address at which this machine reaches what listens on `host`."""
        return seen_at(self.host)

    @property
    def api_url(self) -> str:
        return f"http://{_bracketed(self.seen_at)}:{self.api_port}"

    @property
    def board_url(self) -> str:
        return f"http://{_bracketed(seen_at(self.board_host))}:{self.board_port}"

    @property
    def mqtt_url(self) -> str:
        account = f"{quote(self.listener.username)}:{quote(self.listener.password)}"
        return f"mqtt://{account}@{_bracketed(self.seen_at)}:{self.listener.port}"


def seen_at(host: str) -> str:
    """Loopback for a wildcard address, else the address itself."""
    return {"0.0.0.0": LOOPBACK, "::": "::1"}.get(host, host)  # noqa: S104


def postgres_part(cluster: postgres.Cluster) -> Part:
    """The embedded server; SIGINT is its fast shutdown."""
    return Part(
        "postgres",
        cluster.command,
        environment=_environment(),
        account=cluster.account,
        answers=postgres_answers(cluster),
        not_its_fault=cluster.memory_still_in_use,
        stop_signal=signal.SIGINT,
        log=cluster.log,
    )


def broker_part(made: broker.Broker) -> Part:
    """The embedded broker."""
    return Part(
        "broker",
        made.command,
        environment=_environment(),
        account=made.account,
        answers=broker_answers(made),
    )


def migrate_step(run: Run) -> Part:
    """Brings the schema up to date and puts the run's tokens into the database."""
    environment = _environment(
        database_url=run.database_url,
        admin_token=run.secrets.admin_token,
        viewer_token=run.secrets.viewer_token,
        crew_token=run.secrets.crew_token,
        engineer_token=run.secrets.engineer_token,
    )
    return Part("migrate", _command("migrate"), environment)


def history_step(run: Run) -> Part:
    """Loads the demo plant's past; nothing when it is there."""
    environment = _environment(database_url=run.database_url, data_dir=str(run.data_dir))
    return Part("history", _command("simulate", "--load"), environment)


def ingest_part(run: Run) -> Part:
    """Takes reports from the broker into the database."""
    environment = _environment(database_url=run.database_url, mqtt_url=run.mqtt_url)
    return _beating(run, Part("ingest", _command("ingest"), environment))


def engine_part(run: Run) -> Part:
    """Keeps the forecasts current."""
    environment = _environment(database_url=run.database_url)
    return _beating(run, Part("engine", _command("engine"), environment))


def api_part(run: Run) -> Part:
    """The HTTP interface."""
    environment = _environment(
        database_url=run.database_url, api_host=run.host, api_port=str(run.api_port)
    )
    answers = http_ok(run.seen_at, run.api_port, "/readyz")
    return Part("api", _command("api"), environment, answers=answers)


def board_part(run: Run) -> Part:
    """The board; it knows the API and nothing else."""
    environment = _environment(
        board_host=run.board_host,
        board_port=str(run.board_port),
        api_url=run.api_url,
        board_token=run.secrets.viewer_token,
    )
    answers = http_ok(seen_at(run.board_host), run.board_port, "/healthz")
    return Part("board", _command("board"), environment, answers=answers)


def simulator_part(run: Run) -> Part:
    """The demo plant's presses, live."""
    environment = _environment(mqtt_url=run.mqtt_url, data_dir=str(run.data_dir))
    return _beating(run, Part("simulator", _command("simulate"), environment))


def _command(*arguments: str) -> list[str]:
    """A command of ours. -P: a folder named `api` where the user stands is not ours."""
    return [sys.executable, "-P", "-m", "launch", *arguments]


def _beating(run: Run, part: Part) -> Part:
    """The part with a beat file, whose first touch after a start says that it works."""
    beat = run.data_dir / "beats" / part.name
    beat.parent.mkdir(exist_ok=True)
    return replace(
        part,
        environment={**part.environment, PREFIX + "BEAT_FILE": str(beat)},
        answers=file_appears(beat),
        before=lambda: beat.unlink(missing_ok=True),
    )


def _environment(**settings: str) -> dict[str, str]:
    """What we were started with, less settings that were meant for other parts, plus these."""
    kept = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith(PREFIX) or key in _PASSED_ON
    }
    ours = {PREFIX + name.upper(): value for name, value in settings.items()}
    return {**kept, **ours, "PYTHONUNBUFFERED": "1"}


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host
