"""Prepares one run on this machine: ports, secrets, cluster, broker; says what it found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from launch import broker, datadir, postgres
from launch.broker import Broker, Listener
from launch.datadir import Kind, Secrets
from launch.out import Say
from launch.parts import Run
from launch.ports import Wanted, claim
from launch.postgres import Cluster
from launch.settings import read_settings
from launch.trees import NoTree


@dataclass(frozen=True)
class Options:
    """What the command line of `up` and `demo` says."""

    kind: Kind
    data_dir: Path
    host: str
    mqtt_port: int
    mqtt_port_v311: int | None
    api_port: int
    board_port: int
    ready_file: Path | None


@dataclass(frozen=True)
class Prepared:
    """A run, its broker, and its own database server unless it uses one from elsewhere."""

    run: Run
    broker: Broker
    cluster: Cluster | None


def prepare(options: Options, say: Say) -> Prepared:
    """Everything that is settled before the first part starts.

    Raises PortTaken, PostgresFailed or BadSetting.
    """
    ports = _claim(options)
    data_dir = options.data_dir.absolute()
    for name in datadir.end_left_over(data_dir):
        say(f"a {name} that an earlier run left behind was ended")
    secrets = datadir.read_secrets(data_dir)
    say(f"data in {data_dir}; accounts and tokens in {data_dir / datadir.SECRETS}")
    cluster = _cluster(data_dir, say)
    made = broker.prepare(data_dir, _listener(options, ports, secrets))
    _say_broker(made, say)
    run = Run(
        data_dir,
        options.host,
        ports.api,
        options.host,
        ports.board,
        made.listener,
        secrets,
        _external_database() if cluster is None else cluster.url,
    )
    return Prepared(run, made, cluster)


@dataclass(frozen=True)
class _Ports:
    mqtt: int
    mqtt_v311: int
    api: int
    board: int


def _claim(options: Options) -> _Ports:
    """All ports, checked together. Mosquitto serves both protocols on one."""
    wanted = [
        Wanted("--mqtt-port", options.host, options.mqtt_port),
        Wanted("--api-port", options.host, options.api_port),
        Wanted("--board-port", options.host, options.board_port),
    ]
    if broker.ports_in_use() == 1:
        mqtt, api, board = claim(wanted)
        return _Ports(mqtt, mqtt, api, board)
    wanted.append(Wanted("--mqtt-port-v311", options.host, _port_v311(options)))
    mqtt, api, board, mqtt_v311 = claim(wanted)
    return _Ports(mqtt, mqtt_v311, api, board)


def _port_v311(options: Options) -> int:
    """As given, else the one after the MQTT port, else any free one."""
    if options.mqtt_port_v311 is not None:
        return options.mqtt_port_v311
    return options.mqtt_port + 1 if options.mqtt_port else 0


def _listener(options: Options, ports: _Ports, secrets: Secrets) -> Listener:
    return Listener(
        options.host, ports.mqtt, ports.mqtt_v311, secrets.mqtt_username, secrets.mqtt_password
    )


def _cluster(data_dir: Path, say: Say) -> Cluster | None:
    """The embedded cluster; None when only a database from elsewhere can serve."""
    try:
        cluster = postgres.prepare(data_dir)
    except NoTree:
        if read_settings().database_url is None:
            raise
        say("database: no server of our own was found; the one of DUESTROKE_DATABASE_URL is used")
        return None
    account = f", run as {cluster.account}" if cluster.account else ""
    say(f"database: PostgreSQL {cluster.tree.version} ({cluster.tree.source}){account}")
    if data_dir not in cluster.data.parents:
        say(f"database: its account can't enter {data_dir}, so its files lie in {cluster.data}")
    say("database: on a private socket of this machine, plain tables (no TimescaleDB)")
    if postgres.end_left_over(cluster):
        say("database: a server that an earlier run left behind was shut down")
    return cluster


def _external_database() -> str:
    return str(read_settings().required("database_url", "up"))


def _say_broker(made: Broker, say: Say) -> None:
    listener = made.listener
    where = f"{listener.host}:{listener.port}"
    if listener.port != listener.port_v311:
        where += f" (MQTT 5) and :{listener.port_v311} (MQTT 3.1.1)"
    say(f"broker: {made.name} on {where}")
    for limit in made.limits:
        say(f"broker: {limit}")
