"""What each command of one part does: settings in, the part's own entry point called.

Imports stand in the functions: a part must not pay for, nor need, what the others import.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import signal
import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from launch.settings import BadSetting, MqttAddress, Settings

if TYPE_CHECKING:
    from fastapi import FastAPI
    from pydantic import SecretStr

    from dashboard.guard import Unsigned
    from store.tokens import Role

logger = logging.getLogger(__name__)


def migrate(settings: Settings) -> None:
    """Bring the schema up to date; put the first tokens into the database where they are set."""
    from store import tokens
    from store.migrate import migrate as apply
    from store.unit import connect

    url = settings.required("database_url", "migrate")
    done = apply(url)
    logger.info(
        "Schema is up to date, %d migrations applied", len(done), extra={"action": "migrated"}
    )
    with connect(url) as conn:
        for secret, name, role in _first_tokens(settings):
            if secret is not None:
                tokens.ensure(conn, name, role, secret.get_secret_value(), at=_now())


def _first_tokens(settings: Settings) -> list[tuple[SecretStr | None, str, Role]]:
    return [
        (settings.admin_token, "admin", "admin"),
        (settings.viewer_token, "board", "viewer"),
        (settings.crew_token, "crew", "crew"),
        (settings.engineer_token, "engineer", "engineer"),
    ]


def ingest(settings: Settings) -> None:
    """Take reports from the broker into the database until stopped."""
    from ingest.app import run

    broker = MqttAddress.parse(settings.required("mqtt_url", "ingest"))
    run(
        database_url=settings.required("database_url", "ingest"),
        mqtt_host=broker.host,
        mqtt_port=broker.port,
        username=broker.username,
        password=broker.password,
        tls=broker.tls,
        client_id=settings.mqtt_client_id,
        stop=stop_event(),
        beat=beat_of(settings),
    )


def engine(settings: Settings) -> None:
    """Keep the forecasts current until stopped."""
    _on_one_thread()
    from engine.app import run

    run(
        settings.required("database_url", "engine"),
        stop=stop_event(),
        beat=beat_of(settings),
    )


def recompute(
    settings: Settings,
    numbers: Sequence[int],
    *,
    press: str | None,
    position: str | None,
    last: int,
) -> int:
    """Make forecasts on record again; the exit code: 1 where one came out otherwise.

    numbers: none of them asks for the last ones, of one press and position where these are named.
    """
    _on_one_thread()
    from engine.again import NotKept
    from engine.again import recompute as again
    from store.unit import Unit, connect

    failed = 0
    with connect(settings.required("database_url", "recompute")) as conn, Unit(conn) as unit:
        asked = numbers or unit.forecasts.last_on_record(last, press=press, position=position)
        for number in asked:
            try:
                made = again(unit, number)
            except (KeyError, NotKept) as fault:
                said = "not on record" if isinstance(fault, KeyError) else str(fault)
                _say(f"{number}: {said}")
                failed = 1
                continue
            _say(f"{number}: {made.words}")
            failed |= not made.is_same
    return int(failed)


def _on_one_thread() -> None:
    # Small matrices: threads of the linear algebra only wait for each other (measured: 4 times
    # as long on two busy cores), and the same number of them gives the same last digits. It is
    # read when numpy is first imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def backtest(given: argparse.Namespace, settings: Settings) -> int:
    """Make past forecasts again and score them; the exit code."""
    _on_one_thread()
    from launch import backtesting

    return backtesting.run(given, settings, now=_now(), say=_say)


def api(settings: Settings) -> None:
    """Serve the HTTP interface until stopped."""
    from api.app import create_app

    app = create_app(
        database_url=settings.required("database_url", "api"), pool_size=settings.api_pool
    )
    _serve(app, settings.api_host, settings.api_port)


def board(settings: Settings) -> None:
    """Serve the board until stopped."""
    from dashboard.app import create_app

    app = create_app(
        api_url=settings.required("api_url", "board"),
        token=settings.required("board_token", "board"),
        unsigned=unsigned_of(settings),
    )
    _serve(app, settings.board_host, settings.board_port)


def unsigned_of(settings: Settings) -> Unsigned | None:
    """Who may look at the board without signing in: None for nobody."""
    from dashboard.guard import Unsigned

    if settings.board_unsigned == "nobody":
        return None
    return Unsigned(any_peer=settings.board_published_on == "loopback")


def adopt(
    settings: Settings, *, paths: Sequence[Path], is_dry: bool, template: Path | None, by: str
) -> int:
    """Take in a plant's spreadsheets, or write empty ones; the exit code."""
    from launch import importing

    if template is not None:
        return importing.templates(template, _say)
    if not paths:
        raise BadSetting("import: name the files or folders to take in, or --template DIR")
    url = settings.required("database_url", "import")
    return importing.run(url, paths, now=_now(), is_dry=is_dry, by=by, say=_say)


def simulate(
    settings: Settings, *, load: bool, truth: Path | None, plant: Path | None = None
) -> None:
    """Load a plant's history, write its truth, or be its presses until stopped.

    plant: a settings file of another plant than the demo's.  Raises BadSetting for a wrong one, and
    for a data dir that holds another plant.
    """
    from duestroke.errors import BadField

    try:
        _begin_plant(settings, plant)
    except BadField as wrong:
        raise BadSetting(f"simulate: {wrong}") from wrong
    if truth is not None:
        _write_truth(settings, truth)
    elif load:
        _load_history(settings)
    else:
        _be_the_presses(settings)


def _begin_plant(settings: Settings, file: Path | None) -> None:
    """The plant that a file describes, or a look at the one that is there."""
    from simulators.plants import read_settings
    from simulators.works import begin, state_of

    if file is None:
        state_of(settings.data_dir)
    else:
        begin(settings.data_dir, _now(), said=read_settings(file))


def _load_history(settings: Settings) -> None:
    from simulators.demo import load

    url = settings.required("database_url", "simulate")
    load(url, settings.data_dir, now=_now(), say=_say)


def _write_truth(settings: Settings, file: Path) -> None:
    from duestroke.times import to_micros
    from simulators.telling import export
    from simulators.works import Works, state_of

    demo = state_of(settings.data_dir)
    if demo is None:
        raise BadSetting(f"DUESTROKE_DATA_DIR: {settings.data_dir} holds no demo")
    at = to_micros(_now())
    truths = Works(demo).truths(at)
    file.write_text(json.dumps(export(truths, at)) + "\n", encoding="utf-8")


def _be_the_presses(settings: Settings) -> None:
    from simulators.live import run

    broker = MqttAddress.parse(settings.required("mqtt_url", "simulate"))
    if broker.tls:
        raise BadSetting("DUESTROKE_MQTT_URL: the simulator speaks mqtt:// only")
    run(
        mqtt_host=broker.host,
        mqtt_port=broker.port,
        username=broker.username,
        password=broker.password,
        data_dir=settings.data_dir,
        stop=stop_event(),
        beat=beat_of(settings),
    )


def stop_event() -> threading.Event:
    """An event that SIGINT and SIGTERM set.

    A thread waits for them: a handler that set the event in the main thread could find the main
    thread holding the event's own lock, and wait for itself for ever.
    """
    stop, numbers = threading.Event(), {signal.SIGINT, signal.SIGTERM}
    signal.pthread_sigmask(signal.SIG_BLOCK, numbers)  # threads made from now on inherit it

    def wait() -> None:
        signal.sigwait(numbers)
        stop.set()

    threading.Thread(target=wait, name="stop-signals", daemon=True).start()
    return stop


def beat_of(settings: Settings) -> Callable[[], None]:
    """Touches the beat file, where one is set."""
    file = settings.beat_file
    return (lambda: None) if file is None else file.touch


def _serve(app: FastAPI | Any, host: str, port: int) -> None:  # noqa: ANN401 (any ASGI app)
    import uvicorn

    # log_config None: our own format stands. Access lines are the application's own.
    uvicorn.run(
        app,
        host=host,
        port=port,
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
    )


def _say(line: str) -> None:
    print(line, flush=True)


def _now() -> datetime:
    return datetime.now(UTC)
