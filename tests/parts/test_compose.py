"""docker-compose.yml without an engine: the published schema, references, and our own rules."""

from __future__ import annotations

import copy
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from launch.cli import parser
from launch.settings import PREFIX, Settings, read_settings

ROOT = Path(__file__).parents[2]
FILE = ROOT / "docker-compose.yml"
SCHEMA = "vendor.compose-spec"
APPS = ("migrate", "ingest", "engine", "api", "dashboard")
HARDENED = ("user", "read_only", "tmpfs", "cap_drop", "security_opt", "restart", "logging")

Compose = dict[str, Any]


@pytest.fixture(scope="module")
def compose() -> Compose:
    return yaml.safe_load(FILE.read_text())


def faults(compose: Compose) -> Iterator[str]:
    """What is wrong by our own rules, which the schema does not know."""
    services = compose["services"]
    for name, service in services.items():
        yield from _references(compose, name, service)
        yield from _published(name, service)
        if not service.get("deploy", {}).get("resources", {}).get("limits", {}).get("memory"):
            yield f"{name}: no memory limit"
        if name != "migrate" and "healthcheck" not in service:
            yield f"{name}: no health check"
        if not re.search(r":\d+\.\d+\.\d+", service["image"]):
            yield f"{name}: image without a full version"
    for name in APPS:
        yield from (f"{name}: no {key}" for key in HARDENED if key not in services[name])
        if services[name]["cap_drop"] != ["ALL"] or services[name]["read_only"] is not True:
            yield f"{name}: keeps capabilities or a writable root"
        if services[name]["user"].startswith("0"):
            yield f"{name}: runs as root"
    if "ports" in services["timescaledb"] or compose["networks"]["back"] != {"internal": True}:
        yield "the database can be reached from outside"


def _references(compose: Compose, name: str, service: Compose) -> Iterator[str]:
    for other, wanted in service.get("depends_on", {}).items():
        target = compose["services"].get(other)
        if target is None:
            yield f"{name}: depends on {other}, which is not there"
        elif wanted["condition"] == "service_healthy" and "healthcheck" not in target:
            yield f"{name}: waits for the health of {other}, which has no check"
    for kind in ("secrets", "networks"):
        for one in service.get(kind, []):
            if one not in compose[kind]:
                yield f"{name}: {kind} {one} is not defined"
    for mount in service.get("volumes", []):
        source = mount.split(":")[0]
        if not source.startswith(".") and source not in compose["volumes"]:
            yield f"{name}: volume {source} is not defined"
        if source.startswith(".") and not mount.endswith(":ro"):
            yield f"{name}: {source} is mounted writable"


def _published(name: str, service: Compose) -> Iterator[str]:
    for port in service.get("ports", []):
        if not port.startswith(("127.0.0.1:", "${PLANT_ADDRESS:-127.0.0.1}:")):
            yield f"{name}: {port} is published on every address"


def check_schema(file: Path) -> subprocess.CompletedProcess[str]:
    """Against the Compose Specification's JSON Schema, which ships with the checker."""
    return subprocess.run(
        [
            sys.executable,
            *["-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"],
            file,
        ],
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_file_is_valid_by_the_compose_specification(tmp_path: Path, compose: Compose) -> None:
    done = check_schema(FILE)
    assert done.returncode == 0, done.stdout
    broken = copy.deepcopy(compose)
    broken["services"]["api"]["depends_on"]["migrate"]["condition"] = "service_happy"
    (tmp_path / "broken.yml").write_text(yaml.safe_dump(broken))
    assert check_schema(tmp_path / "broken.yml").returncode != 0


def test_the_file_keeps_our_own_rules(compose: Compose) -> None:
    assert list(faults(compose)) == []


BREAK: dict[str, Callable[[Compose], object]] = {
    "depends on nothing": lambda s: s["api"]["depends_on"].update(
        other={"condition": "service_started"}
    ),
    "no health": lambda s: s["broker"].pop("healthcheck"),
    "unknown volume": lambda s: s["timescaledb"].update(volumes=["elsewhere:/data"]),
    "unknown secret": lambda s: s["ingest"]["secrets"].append("other"),
    "open port": lambda s: s["dashboard"].update(ports=["8050:8050"]),
    "database published": lambda s: s["timescaledb"].update(ports=["127.0.0.1:5432:5432"]),
    "writable": lambda s: s["engine"].update(read_only=False),
    "root": lambda s: s["engine"].update(user="0:0"),
    "no limit": lambda s: s["engine"].pop("deploy"),
    "no version": lambda s: s["broker"].update(image="eclipse-mosquitto:latest"),
}


@pytest.mark.parametrize("what", BREAK)
def test_each_rule_finds_its_breach(compose: Compose, what: str) -> None:
    broken = copy.deepcopy(compose)
    BREAK[what](broken["services"])
    assert list(faults(broken))


@pytest.mark.parametrize("name", APPS)
def test_each_app_is_a_command_with_settings_that_exist(compose: Compose, name: str) -> None:
    service = compose["services"][name]
    parser().parse_args(service["command"])
    secret_files = {f"/run/secrets/{secret}" for secret in service["secrets"]}
    for variable, value in service["environment"].items():
        assert variable.startswith(PREFIX)
        field = variable.removeprefix(PREFIX).removesuffix("_FILE").lower()
        assert field in Settings.model_fields or variable == "DUESTROKE_BEAT_FILE", variable
        if value.startswith("/run/secrets/"):
            assert value in secret_files
    plain = {k: v for k, v in service["environment"].items() if not v.startswith("/run/")}
    read_settings(plain)


def test_the_readme_of_the_deploy_folder_names_every_secret(compose: Compose) -> None:
    text = (ROOT / "deploy" / "README.md").read_text()
    assert all(f"`secrets/{name}`" in text for name in compose["secrets"])


def test_the_image_holds_every_package_and_the_locked_versions() -> None:
    docker, ignored = (ROOT / "Dockerfile").read_text(), (ROOT / ".dockerignore").read_text()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    for name in project["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]:
        assert f"COPY {name} {name}\n" in docker
        assert f"!{name}\n" in ignored
    assert "--require-hashes -r requirements.lock" in docker
    assert re.search(r"^USER 10001:10001$", docker, re.MULTILINE)


@pytest.mark.skipif(shutil.which("docker") is None, reason="no compose program on this machine")
def test_a_compose_program_reads_it_too() -> None:
    known = subprocess.run(["docker", "compose", "version"], capture_output=True, check=False)
    if known.returncode != 0:
        pytest.skip("this docker has no compose")
    done = subprocess.run(
        ["docker", "compose", "-f", str(FILE), "config", "-q"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
