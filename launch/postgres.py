"""The embedded Postgres: found programs under our own launcher, reached over a private socket."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import quote

from launch.accounts import (
    die_with_parent,
    give,
    private_folder,
    run_as,
    server_account,
    servers_home,
)
from launch.trees import Tree, find_tree

SETTINGS: Final = {
    "listen_addresses": "",
    "unix_socket_permissions": "0700",
    "shared_buffers": "512MB",
    "max_wal_size": "4GB",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
    "max_connections": "60",
}
# A socket's path may have 107 bytes on Linux, 103 on macOS, with the name `/.s.PGSQL.5432` in it.
_SOCKET_LIMIT: Final = 85
# The socket lies in a private folder and is private itself: whoever reaches it is trusted.
_INITDB: Final = ("-U", "duestroke", "-A", "trust", "-E", "UTF8", "--no-locale")
_START_S: Final = 30.0
_MEMORY_IN_USE: Final = "pre-existing shared memory block"


class PostgresFailed(Exception):
    """The embedded server could not be made or started; the message says what it printed."""


@dataclass(frozen=True)
class Cluster:
    """Where an embedded cluster lies, which account runs it, and how it is reached."""

    tree: Tree
    data: Path
    socket_dir: Path
    account: str | None
    log: Path

    @property
    def url(self) -> str:
        """Connection URL over the cluster's private socket."""
        return f"postgresql://duestroke@/postgres?host={quote(str(self.socket_dir))}"

    @property
    def command(self) -> list[str]:
        """The server's command line."""
        options = [f"-c{name}={value}" for name, value in SETTINGS.items()]
        server = str(self.tree.program("postgres"))
        return [server, "-D", str(self.data), "-k", str(self.socket_dir), *options]

    @property
    def ask_command(self) -> list[str]:
        """A command that ends with 0 when the server takes connections."""
        ask = str(self.tree.program("pg_isready"))
        return [ask, "-q", "-t", "2", "-h", str(self.socket_dir)]

    def answers(self) -> bool:
        """Whether the server takes connections now."""
        return _run(self.ask_command, self.account).returncode == 0

    def memory_still_in_use(self) -> bool:
        """Whether the last start ended because children of a killed server were not gone yet."""
        return _MEMORY_IN_USE in self.last_words()

    def last_words(self) -> str:
        """The last three lines of the server's log, in one."""
        lines = self.log.read_text(errors="replace").splitlines() if self.log.exists() else []
        return " | ".join(lines[-3:])


def prepare(data_dir: Path) -> Cluster:
    """Make the cluster for a data dir, or find the one that is there. Starts nothing.

    Raises NoTree when no programs are found, PostgresFailed when the cluster can't be made.
    """
    account = server_account()
    home = servers_home(data_dir, account)
    tree = find_tree(home, account)
    folder = private_folder(home / "cluster", account)
    cluster = Cluster(
        tree, folder / "data", _socket_dir(folder, account), account, folder / "postgres.log"
    )
    _refuse_other_major(cluster)
    if not (cluster.data / "PG_VERSION").exists():
        _initdb(cluster)
    cluster.log.touch()
    give(cluster.log, account)
    return cluster


def end_left_over(cluster: Cluster) -> bool:
    """Shut down a server of this cluster that outlived its launcher; True when there was one.

    Whoever holds the data dir's lock owns its cluster, so such a server has no other user. It is
    stopped and started anew rather than kept: only a child of ours can be watched.
    """
    control = [str(cluster.tree.program("pg_ctl")), "-D", str(cluster.data)]
    if _run([*control, "status"], cluster.account).returncode != 0:
        return False
    stopped = _run([*control, "-m", "fast", "-w", "-t", "30", "stop"], cluster.account)
    if stopped.returncode != 0:
        raise PostgresFailed(f"a left-over postgres does not stop: {_text(stopped)}")
    return True


def start(cluster: Cluster, *, with_parent: bool = True) -> subprocess.Popen[bytes]:
    """Start the server as a child and wait until it answers. Raises PostgresFailed."""
    deadline = time.monotonic() + _START_S
    child = _spawn(cluster, with_parent=with_parent)
    while time.monotonic() < deadline:
        if child.poll() is not None:
            if not cluster.memory_still_in_use():
                raise PostgresFailed(f"postgres ended at once: {cluster.last_words()}")
            time.sleep(0.2)
            child = _spawn(cluster, with_parent=with_parent)
        if cluster.answers():
            return child
        time.sleep(0.05)
    child.send_signal(signal.SIGQUIT)
    child.wait(5)
    raise PostgresFailed(f"postgres did not answer within {_START_S:.0f} s")


def stop(child: subprocess.Popen[bytes], *, wait: float = 10.0) -> None:
    """Fast shutdown: open transactions roll back, committed ones are safe."""
    if child.poll() is None:
        child.send_signal(signal.SIGINT)
        child.wait(wait)


def _spawn(cluster: Cluster, *, with_parent: bool) -> subprocess.Popen[bytes]:
    with cluster.log.open("ab") as log:
        return subprocess.Popen(
            cluster.command,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd="/",
            start_new_session=True,
            preexec_fn=die_with_parent(signal.SIGINT) if with_parent else None,
            **run_as(cluster.account),
        )


def _initdb(cluster: Cluster) -> None:
    """Made beside its place and moved there: a start that was cut off leaves no half one."""
    half = cluster.data.with_name("data.new")
    shutil.rmtree(half, ignore_errors=True)
    made = _run([str(cluster.tree.program("initdb")), "-D", str(half), *_INITDB], cluster.account)
    if made.returncode != 0:
        raise PostgresFailed(f"initdb failed: {_text(made)}")
    half.rename(cluster.data)


def _refuse_other_major(cluster: Cluster) -> None:
    """A cluster is readable by the major version that made it only."""
    mark = cluster.data / "PG_VERSION"
    made_by = mark.read_text(encoding="utf-8").strip() if mark.exists() else ""
    if made_by and made_by != str(cluster.tree.major):
        raise PostgresFailed(
            f"{cluster.data} was made by PostgreSQL {made_by}, and {cluster.tree.version} "
            f"({cluster.tree.source}) can't open it"
        )


def _socket_dir(folder: Path, account: str | None) -> Path:
    """The folder itself, or a short private one where its path is too long for a socket."""
    if len(os.fsencode(folder)) <= _SOCKET_LIMIT:
        return folder
    digest = hashlib.sha256(os.fsencode(folder)).hexdigest()[:12]
    return private_folder(Path(tempfile.gettempdir()) / f"duestroke-{digest}", account)


def _run(command: list[str], account: str | None) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(command, cwd="/", check=False, capture_output=True, **run_as(account))


def _text(done: subprocess.CompletedProcess[bytes]) -> str:
    return " ".join((done.stderr or done.stdout).decode(errors="replace").split())
