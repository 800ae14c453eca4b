"""The embedded MQTT broker: a Mosquitto that is found, else the broker of the iotcore wheel.

Both run as our child with a configuration written by us; the docstrings of the two classes and
docs/running.md say what each can't do.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from launch.accounts import (
    die_with_parent,
    give,
    private_folder,
    run_as,
    server_account,
    servers_home,
)

PLACES: Final = ("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin")
LARGEST_MESSAGE: Final = 65_536
_MOSQUITTO_VERSION: Final = re.compile(r"mosquitto version (\d+)\.(\d+)\.(\d+)")
_PBKDF2_ROUNDS: Final = 10_000
_START_S: Final = 15.0


class BrokerFailed(Exception):
    """The embedded broker could not be started; the message says why."""


@dataclass(frozen=True)
class Listener:
    """Where the broker listens and the one account that may use it."""

    host: str
    port: int
    port_v311: int
    username: str
    password: str


@dataclass(frozen=True)
class Broker:
    """A broker ready to be started: what it is, its limits in words, its command."""

    name: str
    limits: Sequence[str]
    command: Sequence[str]
    listener: Listener
    account: str | None
    environment: dict[str, str]

    def answers(self) -> bool:
        """Whether both of its ports take connections."""
        ports = {self.listener.port, self.listener.port_v311}
        return all(takes_connections(self.listener.host, port) for port in ports)


def find_mosquitto() -> tuple[Path, tuple[int, int, int]] | None:
    """A Mosquitto of version 2 or newer, with its version; None when there is none."""
    path = os.pathsep.join([os.environ.get("PATH", ""), *PLACES])
    program = shutil.which("mosquitto", path=path)
    if program is None:
        return None
    said = subprocess.run([program, "-h"], check=False, capture_output=True, text=True)
    found = _MOSQUITTO_VERSION.search(said.stdout + said.stderr)
    if found is None or int(found.group(1)) < 2:
        return None
    major, minor, patch = (int(part) for part in found.groups())
    return Path(program), (major, minor, patch)


def prepare(data_dir: Path, listener: Listener, *, wheel_only: bool = False) -> Broker:
    """Write the configuration of the broker that was found. Starts nothing.

    With `wheel_only` a Mosquitto on this machine is passed over.
    """
    account = server_account()
    folder = private_folder(servers_home(data_dir, account) / "broker", account)
    found = None if wheel_only else find_mosquitto()
    if found is None:
        return _wheel(folder, listener)
    return _mosquitto(folder, listener, found, account)


def ports_in_use(*, wheel_only: bool = False) -> int:
    """How many ports the broker wants: Mosquitto serves both protocols on one."""
    return 2 if wheel_only or find_mosquitto() is None else 1


def start(broker: Broker) -> subprocess.Popen[bytes]:
    """Start the broker as a child and wait until it answers. Raises BrokerFailed."""
    child = subprocess.Popen(
        broker.command,
        stdin=subprocess.DEVNULL,
        cwd="/",
        env={**os.environ, **broker.environment},
        start_new_session=True,
        preexec_fn=die_with_parent(signal.SIGTERM),
        **run_as(broker.account),
    )
    deadline = time.monotonic() + _START_S
    while time.monotonic() < deadline:
        if child.poll() is not None:
            raise BrokerFailed(f"{broker.name} ended at once with exit code {child.returncode}")
        if broker.answers():
            return child
        time.sleep(0.02)
    stop(child)
    raise BrokerFailed(f"{broker.name} did not answer within {_START_S:.0f} s")


def stop(child: subprocess.Popen[bytes], *, wait: float = 10.0) -> None:
    """Ask the broker to save what it holds and end."""
    if child.poll() is None:
        child.send_signal(signal.SIGTERM)
        child.wait(wait)


def password_line(username: str, password: str, salt: bytes) -> str:
    """A line of Mosquitto's password file: PBKDF2 with SHA-512, as `mosquitto_passwd` writes it."""
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _PBKDF2_ROUNDS)
    shown = (base64.b64encode(part).decode() for part in (salt, key))
    return f"{username}:$7${_PBKDF2_ROUNDS}${'$'.join(shown)}\n"


def _mosquitto(
    folder: Path, listener: Listener, found: tuple[Path, tuple[int, int, int]], account: str | None
) -> Broker:
    """Mosquitto keeps sessions, queues and retained messages over a restart.

    It saves every five seconds: a crash loses what came in since, which the counters make good.
    """
    program, version = found
    name = f"mosquitto {'.'.join(str(part) for part in version)}"
    limits = ["saves every 5 s: a crash may lose the last 5 s of reports (resolution, no strokes)"]
    if version < (2, 0, 22):
        limits.append("older than 2.0.22: fit for this machine, not for a plant")
    _write(folder / "passwd", password_line(listener.username, listener.password, os.urandom(12)))
    _write(folder / "acl", _acl(listener.username))
    _write(folder / "mosquitto.conf", _mosquitto_conf(folder, listener))
    private_folder(folder / "data", account)
    for file in ("passwd", "acl", "mosquitto.conf"):
        give(folder / file, account)
    command = [str(program), "-c", str(folder / "mosquitto.conf")]
    return Broker(name, limits, command, listener, account, {})


def _mosquitto_conf(folder: Path, listener: Listener) -> str:
    return f"""\
# Written at every start. Every limit is a number: 0 has meant different things over time.
allow_anonymous false
password_file {folder / "passwd"}
acl_file {folder / "acl"}
listener {listener.port} {listener.host}
persistence true
persistence_location {folder / "data"}/
autosave_interval 5
max_queued_messages 1000000
max_queued_bytes 0
max_inflight_messages 1000
persistent_client_expiration 30d
message_size_limit {LARGEST_MESSAGE}
max_keepalive 300
log_dest stderr
log_type warning
log_type error
"""


def _acl(username: str) -> str:
    return f"user {username}\ntopic readwrite duestroke/#\ntopic read $SYS/#\n"


def _wheel(folder: Path, listener: Listener) -> Broker:
    """The wheel's broker holds everything in memory, one protocol version a port."""
    _write(folder / "broker.toml", _wheel_toml(listener))
    # Run as we are: another account may not reach the environment that the wheel lies in.
    command = [sys.executable, "-P", "-m", "launch.wheel_broker", str(folder / "broker.toml")]
    limits = [
        "no mosquitto was found, so the iotcore wheel's broker serves",
        "it holds sessions, queue and retained messages in memory: all go when it ends",
        "MQTT 5 and 3.1.1 each have a port of their own",
        "its one account may use every topic",
    ]
    return Broker("iotcore broker", limits, command, listener, None, {})


def _wheel_toml(listener: Listener) -> str:
    head = """\
id = 0

[router]
id = 0
max_connections = 10010
max_outgoing_packet_count = 200
max_segment_size = 104857600
max_segment_count = 10
"""
    return (
        head
        + _wheel_listener("v5", listener.port, listener)
        + _wheel_listener("v4", listener.port_v311, listener)
    )


def _wheel_listener(version: str, port: int, listener: Listener) -> str:
    return f"""
[{version}.1]
name = "{version}"
listen = "{listener.host}:{port}"
next_connection_delay_ms = 1

[{version}.1.connections]
connection_timeout_ms = 60000
max_payload_size = {LARGEST_MESSAGE}
max_inflight_count = 1000
dynamic_filters = true

[{version}.1.connections.auth]
{listener.username} = "{listener.password}"
"""


def _write(file: Path, text: str) -> None:
    file.unlink(missing_ok=True)
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as out:
        out.write(text)


def takes_connections(host: str, port: int) -> bool:
    """Whether something listens; a wildcard address is asked on loopback."""
    asked = "127.0.0.1" if host == "0.0.0.0" else "::1" if host == "::" else host  # noqa: S104
    try:
        with socket.create_connection((asked, port), timeout=0.5):
            return True
    except OSError:
        return False
