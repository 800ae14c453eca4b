"""The data dir: one run at a time, one kind for ever, its secrets, and what a killed run left."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import secrets
import signal
import subprocess
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Final, Literal

Kind = Literal["up", "demo"]
_LOCK: Final = "duestroke.lock"
_KIND: Final = "kind"
SECRETS: Final = "secrets.json"
_PIDS: Final = "pids.json"
USERNAME: Final = "duestroke"
_PROC: Final = Path("/proc")


class Refused(Exception):
    """The data dir can't be used for this run; the message is one line."""


@dataclass(frozen=True)
class Secrets:
    """Made at the first start, the same at every later one."""

    mqtt_username: str
    mqtt_password: str
    admin_token: str
    viewer_token: str
    crew_token: str
    engineer_token: str


_SECRET_NAMES: Final = tuple(
    field.name for field in fields(Secrets) if field.name != "mqtt_username"
)


@contextlib.contextmanager
def held(data_dir: Path, kind: Kind) -> Iterator[None]:
    """Hold the data dir for one run of this kind. Raises Refused."""
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        lock = os.open(data_dir / _LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as failed:
        raise Refused(f"--data-dir {data_dir}: {failed.strerror}") from None
    try:
        _take(lock, data_dir)
        _same_kind(data_dir, kind)
        yield
    finally:
        os.close(lock)


def _take(lock: int, data_dir: Path) -> None:
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        holder = os.pread(lock, 20, 0).decode(errors="replace").strip() or "unknown"
        raise Refused(
            f"--data-dir {data_dir} is in use by another duestroke (process {holder})"
        ) from None
    os.ftruncate(lock, 0)
    os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)


def _same_kind(data_dir: Path, kind: Kind) -> None:
    """A demo never mixes with a plant's own data."""
    file = data_dir / _KIND
    if not file.exists():
        file.write_text(f"{kind}\n", encoding="utf-8")
    made_by = file.read_text(encoding="utf-8").strip()
    if made_by != kind:
        raise Refused(
            f"--data-dir {data_dir} was made by `duestroke {made_by}`: "
            f"start that, or give `duestroke {kind}` another one"
        )


def read_secrets(data_dir: Path) -> Secrets:
    """The data dir's secrets, made when there are none. The file is its owner's alone."""
    file = data_dir / SECRETS
    known = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    # An older data dir holds fewer; what it has stays as it is.
    new = {name: secrets.token_urlsafe(32) for name in _SECRET_NAMES if name not in known}
    made = Secrets(**({"mqtt_username": USERNAME} | known | new))
    if new:
        write_private(file, asdict(made))
    return made


def write_private(file: Path, content: Mapping[str, object]) -> None:
    """Write JSON that only its owner may read, in one step: whole or not at all."""
    half = file.with_name(f".{file.name}.{os.getpid()}")
    with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as out:
        json.dump(content, out, indent=2)
        out.write("\n")
    half.replace(file)


def note_pids(data_dir: Path, pids: Mapping[str, int]) -> None:
    """Keep what runs, so that the next start finds what a killed run left behind."""
    known = {name: {"pid": pid, "began": began(pid)} for name, pid in pids.items()}
    write_private(data_dir / _PIDS, known)


def end_left_over(data_dir: Path, *, within_s: float = 10.0) -> list[str]:
    """End the children of a run that was killed; the names of those still there.

    On Linux they end with their parent by themselves; elsewhere nobody tells them.
    """
    file = data_dir / _PIDS
    if not file.exists():
        return []
    noted = json.loads(file.read_text(encoding="utf-8"))
    # Postgres is shut down by its own means: see launch.postgres.
    children = [Noted(name, **one) for name, one in noted.items() if name != "postgres"]
    left = [child for child in children if child.is_there()]
    for child in left:
        child.signal(signal.SIGTERM)
    deadline = time.monotonic() + within_s
    while any(child.is_there() for child in left) and time.monotonic() < deadline:
        time.sleep(0.05)
    for child in left:
        child.signal(signal.SIGKILL)
    file.unlink()
    return [child.name for child in left]


@dataclass(frozen=True)
class Noted:
    """A child of an earlier run, known by its number and when it began."""

    name: str
    pid: int
    began: str

    def is_there(self) -> bool:
        """Whether it still runs, and not another process under its number."""
        return bool(self.began) and began(self.pid) == self.began

    def signal(self, number: signal.Signals) -> None:
        """Signal it and what it started, if it is there."""
        if self.is_there():
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.pid, number)


def began(pid: int) -> str:
    """When a process began, in whatever form the system tells it; empty when there is none."""
    if _PROC.joinpath("self").exists():
        try:
            stat = _PROC.joinpath(str(pid), "stat").read_text(encoding="utf-8", errors="replace")
        except OSError:
            return ""
        # After the name in parentheses: field 3 is the state, field 22 the start time.
        fields = stat.rpartition(")")[2].split()
        return "" if fields[0] == "Z" else fields[19]
    return _began_by_ps(pid)


def _began_by_ps(pid: int) -> str:
    asked = ["ps", "-o", "lstart=", "-p", str(pid)]
    return subprocess.run(asked, check=False, capture_output=True, text=True).stdout.strip()
