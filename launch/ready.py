"""The ready file, and the lines that say where everything is."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from launch.datadir import SECRETS, write_private
from launch.out import Say
from launch.parts import Run


def write(file: Path, run: Run, pids: Mapping[str, int]) -> None:
    """Write where everything is and who may use it, in one step; the file is its owner's alone."""
    write_private(file, content(run, pids))


def content(run: Run, pids: Mapping[str, int]) -> dict[str, object]:
    """What the ready file holds."""
    return {
        "mqtt": {
            "host": run.seen_at,
            "port": run.listener.port,
            "port_v311": run.listener.port_v311,
            "username": run.listener.username,
            "password": run.listener.password,
        },
        "api": run.api_url,
        "board": run.board_url,
        "token": run.secrets.admin_token,
        "database": run.database_url,
        "pids": dict(pids),
    }


def say_where(run: Run, say: Say) -> None:
    """The addresses, and where the accounts are kept; no secret is said."""
    say(f"  board     {run.board_url}")
    say(f"            (to enter something sign in with a token of {run.data_dir / SECRETS})")
    say(f"  API       {run.api_url}/api/v1 (its admin token is in {run.data_dir / SECRETS})")
    say(f"  MQTT      {run.seen_at}:{run.listener.port} (account in the same file)")
    say(f"  database  {run.database_url}")
    say("  stop with Ctrl-C")
