"""The documents name everything that a user can meet, and nothing that is not there."""

from __future__ import annotations

import argparse
import ast
import doctest
import importlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

import dev
from api.app import create_app
from duestroke.counting.types import Kind
from duestroke.messages.wire import Reason
from launch.cli import parser
from launch.settings import PREFIX, SECRETS, Settings

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([*ROOT.glob("*.md"), *DOCS.glob("*.md"), *DOCS.glob("decisions/*.md")])
SOURCES = sorted(file for name in dev.PACKAGES for file in (ROOT / name).rglob("*.py"))
LEVELS = ("debug", "info", "warning", "error", "exception", "critical", "log")
FOR_TESTS = ("DUESTROKE_TEST_", "DUESTROKE_REQUIRE_")


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def section(text: str, heading: str) -> str:
    """What stands under a heading, down to the next of its level."""
    return text.partition(f"{heading}\n")[2].partition("\n## ")[0]


def commands() -> dict[str, argparse.ArgumentParser]:
    (found,) = (a for a in parser()._actions if isinstance(a, argparse._SubParsersAction))
    return found.choices


def test_every_command_and_option_is_documented_and_no_other() -> None:
    text = text_of("docs/commands.md")
    assert set(re.findall(r"^## `duestroke ([a-z]+)`$", text, re.MULTILINE)) == set(commands())
    for name, command in commands().items():
        if name == "demo":
            assert "Same options" in section(text, "## `duestroke demo`")
            continue
        said = set(re.findall(r"`(--[a-z0-9-]+)", section(text, f"## `duestroke {name}`")))
        there = {option for action in command._actions for option in action.option_strings}
        assert said == there - {"-h", "--help"}, name


def test_demo_takes_the_options_of_up() -> None:
    options = [
        sorted(o for action in commands()[name]._actions for o in action.option_strings)
        for name in ("up", "demo")
    ]
    assert options[0] == options[1]


def test_every_setting_is_documented_with_its_default_and_no_other() -> None:
    rows = re.findall(
        r"^\| `(DUESTROKE_[A-Z_]+)`( \*)? \| (?:`(.*?)`)? \|", text_of("docs/settings.md"), re.M
    )
    said = {name: (star != "", default) for name, star, default in rows}
    assert said == {
        PREFIX + name.upper(): (name in SECRETS, "" if f.default is None else str(f.default))
        for name, f in Settings.model_fields.items()
    }


def test_every_variable_that_a_document_names_is_there() -> None:
    known = {PREFIX + name.upper() for name in Settings.model_fields}
    known |= {PREFIX + name.upper() + "_FILE" for name in SECRETS}
    for page in PAGES:
        for name in re.findall(r"DUESTROKE_[A-Z][A-Z_]*[A-Z]", page.read_text(encoding="utf-8")):
            assert name in known or name.startswith(FOR_TESTS), f"{page.name}: {name}"


def actions_of(file: Path) -> Iterator[str]:
    """Values of the key `action` in dicts that are written out in the source."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Dict):
            for key, value in zip(node.keys, node.values, strict=True):
                if isinstance(key, ast.Constant) and key.value == "action":
                    assert isinstance(value, ast.Constant), f"{file}: action is not written out"
                    yield value.value


def test_every_log_action_is_documented_and_no_other() -> None:
    said = re.findall(r"^- `([a-z-]+)`: \S", text_of("docs/log-actions.md"), re.MULTILINE)
    assert len(said) == len(set(said)), "an action stands twice"
    assert set(said) == {action for file in SOURCES for action in actions_of(file)}


def test_every_log_line_carries_an_action() -> None:
    for file in SOURCES:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and is_log_call(node.func):
                keywords = {keyword.arg for keyword in node.keywords}
                assert "extra" in keywords, f"{file.relative_to(ROOT)}:{node.lineno}"


def is_log_call(function: ast.expr) -> bool:
    """`log.info` and its like."""
    return (
        isinstance(function, ast.Attribute)
        and isinstance(function.value, ast.Name)
        and function.value.id in ("log", "logger")
        and function.attr in LEVELS
    )


def test_every_call_of_the_interface_is_documented() -> None:
    text = text_of("docs/api.md")
    document = create_app(database_url="postgresql://nowhere/none").openapi()
    for path, methods in document["paths"].items():
        short = path.removeprefix("/api/v1")
        for method in methods:
            call = rf"`{method.upper()} {re.escape(short)}[?`]"
            plain = f"`{short}`"
            assert re.search(call, text) or plain in text, f"{method.upper()} {path}"


def test_every_reason_of_quarantine_and_kind_of_flag_is_documented() -> None:
    everything = "".join(page.read_text(encoding="utf-8") for page in DOCS.glob("*.md"))
    for name in (*get_args(Reason), *get_args(Kind)):
        assert f"`{name}`" in everything, name


def test_every_link_inside_leads_somewhere() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text(encoding="utf-8")):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.relative_to(ROOT)}: {target}"


def test_every_task_that_a_document_names_is_there() -> None:
    for page in PAGES:
        for task in re.findall(r"python3 dev\.py ([a-z]+)", page.read_text(encoding="utf-8")):
            assert task in dev.COMMANDS, f"{page.relative_to(ROOT)}: {task}"
    assert all(task.__doc__ for task in dev.COMMANDS.values())


def test_the_readme_starts_with_the_job_then_its_two_commands() -> None:
    text = text_of("README.md")
    title, job, heading = text.split("\n\n")[:3]
    assert title == "# Duestroke"
    assert len(job.split()) > 50
    assert heading == "## Two commands"
    blocks = re.findall(r"^```sh\n(.*?)\n```$", text, re.MULTILINE | re.DOTALL)
    assert blocks == ["python3 dev.py demo", "python3 dev.py test"]
    assert "safe to reach into" in text


@pytest.mark.parametrize("part", ["Context", "Choice"])
def test_decisions_are_numbered_once_and_say_why(part: str) -> None:
    files = sorted((DOCS / "decisions").glob("*.md"))
    numbers = [file.name[:4] for file in files]
    assert len(numbers) == len(set(numbers))
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert text.startswith(f"# {file.name[:4]} "), file.name
        assert f"**{part}.**" in text, file.name


def test_examples_in_docstrings_run() -> None:
    for file in SOURCES:
        if ">>>" in file.read_text(encoding="utf-8"):
            name = ".".join(file.relative_to(ROOT).with_suffix("").parts)
            assert doctest.testmod(importlib.import_module(name)).failed == 0, name
