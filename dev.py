#!/usr/bin/env python3
"""Runs everything that a user or contributor needs; wants Python 3.11 or newer and nothing else.

    python3 dev.py demo     the demo plant; options follow, such as --data-dir DIR
    python3 dev.py test     all tests; options for pytest may follow
    python3 dev.py          what CI checks: `check`, then `test`

Each makes `.venv` beside this file from the lock file when it is missing or out of date.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
STAMP = VENV / "duestroke.stamp"
LOCK = ROOT / "requirements.lock"
DEV_LOCK = ROOT / "requirements-dev.lock"
OLDEST = (3, 11)
PACKAGES = ("duestroke", "store", "ingest", "engine", "api", "dashboard", "simulators", "launch")
CODE = (*PACKAGES, "tests", "benchmarks", "dev.py")
# Our own build needs these two; locked like the rest, so that nothing unpinned is ever fetched.
BUILD = "hatchling\neditables\n"
INSTALL_TRIES = 3


def demo(arguments: Sequence[str]) -> None:
    """run the demo plant until Ctrl-C; options as for `duestroke demo`"""
    set_up(dev=False)
    become(script("duestroke"), "demo", *arguments)


def up(arguments: Sequence[str]) -> None:
    """run with no data until Ctrl-C; options as for `duestroke up`"""
    set_up(dev=False)
    become(script("duestroke"), "up", *arguments)


def test(arguments: Sequence[str]) -> None:
    """run all tests; options as for pytest"""
    set_up(dev=True)
    # Both cores, a file at a time: what a module shares among its tests stays in one process.
    run(script("pytest"), "-n", "2", "--dist", "loadfile", *arguments)


def check(arguments: Sequence[str]) -> None:
    """format, lint, types, layers and docs tests; changes nothing"""
    set_up(dev=True)
    run(script("ruff"), "format", "--check", "--quiet", *CODE)
    run(script("ruff"), "check", "--quiet", *CODE)
    run(script("mypy"), *(word for name in PACKAGES for word in ("-p", name)))
    run(script("lint-imports"), "--no-cache")
    run(script("pytest"), "-q", "tests/core/test_docs.py", *arguments)


def everything(arguments: Sequence[str]) -> None:
    """`check`, then `test`"""
    check([])
    test(arguments)


def fix(_arguments: Sequence[str]) -> None:
    """format, and mend what the linter can"""
    set_up(dev=True)
    run(script("ruff"), "check", "--quiet", "--fix", "--exit-zero", *CODE)
    run(script("ruff"), "format", "--quiet", *CODE)


def lock(_arguments: Sequence[str]) -> None:
    """resolve pyproject.toml anew into both lock files"""
    set_up(dev=True)
    if not script("uv").exists():
        run(script("python"), "-m", "pip", "install", "--quiet", "uv")
    write_lock(LOCK)
    write_lock(DEV_LOCK, "--extra", "dev", "--constraint", LOCK)


def fault(arguments: Sequence[str]) -> None:
    """kill parts at random while presses report, then compare every count with the truth"""
    set_up(dev=True)
    run(script("python"), "-m", "benchmarks.faults", *arguments)


def bench(arguments: Sequence[str]) -> None:
    """speed of ingest and of the fleet page, as ratios to limits of the same run"""
    set_up(dev=True)
    for name in ("throughput", "page"):
        run(script("python"), "-m", f"benchmarks.{name}", *arguments)


def coverage(arguments: Sequence[str]) -> None:
    """how often the ranges hold what they promise, over simulated plants with a known truth"""
    set_up(dev=True)
    run(script("python"), "-m", "benchmarks.coverage", *arguments)


def screenshots(arguments: Sequence[str]) -> None:
    """draw the pages in every size and scheme into docs/shots"""
    set_up(dev=True)
    run(script("python"), "-m", "tests.browser.shots", *arguments)


COMMANDS: dict[str, Callable[[Sequence[str]], None]] = {
    task.__name__: task
    for task in (demo, up, test, check, everything, fix, lock, fault, bench, coverage, screenshots)
}


def set_up(*, dev: bool) -> None:
    """Make the environment, or bring it up to date with the lock files; at once when it is."""
    if sys.version_info < OLDEST:
        fail(f"Python {OLDEST[0]}.{OLDEST[1]} or newer is needed, this is {sys.version.split()[0]}")
    have = STAMP.read_text(encoding="utf-8").split() if STAMP.exists() else []
    # An environment with the tools of a contributor also runs the demo.
    if wanted(True) in have or (not dev and wanted(False) in have):
        return
    began = time.monotonic()
    say("making the environment .venv from the lock file, which takes a minute or two")
    if not script("python").exists():
        make_venv()
    STAMP.unlink(missing_ok=True)
    install("--require-hashes", "-r", DEV_LOCK if dev else LOCK)
    install("--no-deps", "--no-build-isolation", "--editable", ROOT)
    STAMP.write_text(wanted(dev) + "\n", encoding="utf-8")
    say(f"the environment is ready after {time.monotonic() - began:.0f} s")


def make_venv() -> None:
    made = subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=False)
    if made.returncode != 0:
        fail("this Python can't make an environment: install its venv module (python3-venv)")


def install(*what: str | Path) -> None:
    """Install with pip; a registry that fails is asked again, a few times."""
    command: list[str | Path]
    command = [script("python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    for left in reversed(range(INSTALL_TRIES)):
        if subprocess.run([*command, *what], check=False).returncode == 0:
            return
        if left:
            time.sleep(5)
    fail("the packages could not be installed; pip says why above")


def wanted(dev: bool) -> str:
    """What the stamp says when the environment is as the files want it."""
    parts = [sys.version.encode(), (ROOT / "pyproject.toml").read_bytes(), LOCK.read_bytes()]
    if dev:
        parts.append(DEV_LOCK.read_bytes())
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def write_lock(file: Path, *options: str | Path) -> None:
    """Versions with hashes for every platform; no line says where they were fetched from."""
    command: list[str | Path]
    command = [script("uv"), "pip", "compile", "--quiet", "--universal", "--generate-hashes"]
    command += ["--python-version", f"{OLDEST[0]}.{OLDEST[1]}", "--no-header", "--no-annotate"]
    command += ["--no-emit-index-url", "--no-emit-find-links", *options, "--output-file", file]
    subprocess.run([*command, "pyproject.toml", "-"], cwd=ROOT, input=BUILD, text=True, check=True)


def script(name: str) -> Path:
    """A program of the environment."""
    return VENV / "bin" / name


def run(*command: str | Path) -> None:
    """Run one command from the top folder; a failure ends everything with its exit code."""
    say(" ".join(str(word) for word in command).replace(f"{ROOT}/", ""))
    done = subprocess.run(command, cwd=ROOT, check=False)
    if done.returncode != 0:
        sys.exit(done.returncode)


def become(*command: str | Path) -> None:
    """Go on as another program, which then gets the signals that are meant for it."""
    os.execv(command[0], [str(word) for word in command])  # noqa: S606 (ours, by path)


def say(line: str) -> None:
    print(f"dev: {line}", flush=True)


def fail(line: str) -> None:
    sys.exit(f"dev: {line}")


def usage() -> None:
    print(__doc__)
    for name, task in COMMANDS.items():
        print(f"    {name:<12} {task.__doc__}")


def main(arguments: Sequence[str]) -> None:
    name, rest = (arguments[0], arguments[1:]) if arguments else ("everything", [])
    if name in ("-h", "--help", "help"):
        usage()
    elif name in COMMANDS:
        COMMANDS[name](rest)
    else:
        usage()
        fail(f"{name}: no such task")


if __name__ == "__main__":
    main(sys.argv[1:])
