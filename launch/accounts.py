"""The account that runs the embedded servers, and the folder where their files may lie.

Postgres refuses to run as root, and a broker has no need of root. Started as root, both run as an
unprivileged account; nobody's folder is opened for it.
"""

from __future__ import annotations

import ctypes
import hashlib
import itertools
import os
import pwd
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

ACCOUNTS: Final = ("duestroke", "postgres")
ELSEWHERE: Final = Path("/var/lib/duestroke")
PLACE_FILE: Final = "postgres.path"
_PR_SET_PDEATHSIG: Final = 1
_LIBC: Final = ctypes.CDLL(None) if sys.platform == "linux" else None


def server_account() -> str | None:
    """None for a normal user (the servers run as it); as root an account that is there or made."""
    if os.geteuid() != 0:
        return None
    for name in ACCOUNTS:
        if account_exists(name):
            return name
    made = subprocess.run(
        ["useradd", "--system", "--no-create-home", "--shell", "/usr/sbin/nologin", ACCOUNTS[0]],
        check=False,
        capture_output=True,
    )
    return ACCOUNTS[0] if made.returncode == 0 else "nobody"


def account_exists(name: str) -> bool:
    """Whether the system knows an account of this name."""
    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True


def run_as(account: str | None) -> dict[str, Any]:
    """Arguments of `subprocess` that start a program as this account, without root's groups."""
    if account is None:
        return {}
    return {"user": account, "group": pwd.getpwnam(account).pw_gid, "extra_groups": []}


def can_enter(folder: Path, account: str) -> bool:
    """Whether the account reaches this folder through all of its parents."""
    probe = subprocess.run(["test", "-x", folder], cwd="/", check=False, **run_as(account))
    return probe.returncode == 0


def servers_home(data_dir: Path, account: str | None) -> Path:
    """The folder for the servers' own folders: the data dir, or one that their account can enter.

    A place elsewhere is named in the data dir's file `postgres.path` and kept from then on.
    """
    data_dir.mkdir(parents=True, exist_ok=True)
    place = data_dir / PLACE_FILE
    if place.exists():
        return Path(place.read_text(encoding="utf-8").strip())
    if account is None or can_enter(data_dir, account):
        return data_dir.absolute()
    home = _new_home(hashlib.sha256(os.fsencode(data_dir.absolute())).hexdigest()[:12])
    place.write_text(f"{home}\n", encoding="utf-8")
    return home


def _new_home(digest: str) -> Path:
    """A folder that is not there yet: one may be left of a data dir that was deleted since."""
    for number in itertools.count(1):
        home = ELSEWHERE / (digest if number == 1 else f"{digest}-{number}")
        try:
            home.mkdir(parents=True)
        except FileExistsError:
            continue
        return home
    raise AssertionError("counting does not end")


def private_folder(folder: Path, account: str | None) -> Path:
    """The folder, made if need be, 0700 and owned by the account (None: by us).

    Raises PermissionError when it is there and someone else's.
    """
    folder.mkdir(parents=True, mode=0o700, exist_ok=True)
    owner = folder.stat().st_uid
    ours = os.geteuid() if account is None else pwd.getpwnam(account).pw_uid
    if owner not in (ours, os.geteuid()):
        raise PermissionError(f"{folder} belongs to another user")
    folder.chmod(0o700)
    give(folder, account)
    return folder


def give(path: Path, account: str | None) -> None:
    """Hand a file or folder to the account and its group."""
    if account is not None:
        shutil.chown(path, account, pwd.getpwnam(account).pw_gid)


def die_with_parent(number: signal.Signals) -> Callable[[], None] | None:
    """For `preexec_fn`: on Linux the child gets this signal when its starter dies, however it dies.

    None where the system has no such thing; the next start looks for what was left over.
    """
    if _LIBC is None:
        return None
    prctl, starter = _LIBC.prctl, os.getpid()

    def bind() -> None:
        prctl(_PR_SET_PDEATHSIG, int(number))
        if os.getppid() != starter:  # it died before the line above
            os.kill(os.getpid(), number)

    return bind
