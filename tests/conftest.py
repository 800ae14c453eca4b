"""One embedded server a test session, one template database, a clone of it for each test."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from hypothesis import settings

from launch import broker, postgres
from store.migrate import migrate
from tests.support import backends
from tests.support.mqtt import open_folder

settings.register_profile("duestroke", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("duestroke")


def pytest_report_header() -> list[str]:
    """What this run tests against."""
    return backends.report()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A contract test runs once for each backend."""
    if "backend" in metafunc.fixturenames:
        metafunc.parametrize("backend", backends.chosen().names, scope="session")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A test that needs a Mosquitto skips without one, or fails where one is required."""
    if item.get_closest_marker("mosquitto") and broker.find_mosquitto() is None:
        skip_unless_required("BROKER", "no mosquitto was found on this machine")


def skip_unless_required(what: str, reason: str) -> None:
    """Skip with the reason, or fail where `DUESTROKE_REQUIRE_<what>=1` forbids the skip."""
    if os.environ.get(f"DUESTROKE_REQUIRE_{what}") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    """A folder that the servers' account may enter; pytest's own are closed to other accounts."""
    with open_folder() as folder:
        yield folder


@pytest.fixture(scope="session")
def cluster() -> Iterator[postgres.Cluster]:
    """A running embedded server for the whole session."""
    with open_folder() as folder:
        made = postgres.prepare(folder)
        child = postgres.start(made)
        with psycopg.connect(made.url, autocommit=True) as conn:
            # Tests clone a database each. A killed process loses nothing by it, only a dead
            # machine would; the product itself never runs so.
            conn.execute("ALTER SYSTEM SET fsync = off")
            conn.execute("SELECT pg_reload_conf()")
        yield made
        postgres.stop(child)


@pytest.fixture(scope="session")
def template(cluster: postgres.Cluster) -> str:
    """Name of a migrated database that tests clone."""
    name = "duestroke_template"
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name}")
    migrate(database_at(cluster.url, name))
    return name


@pytest.fixture
def database_url(cluster: postgres.Cluster, template: str) -> Iterator[str]:
    """URL of a fresh, migrated database of this test's own."""
    name = f"t_{uuid.uuid4().hex}"
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    yield database_at(cluster.url, name)
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"DROP DATABASE {name} WITH (FORCE)")


def database_at(server_url: str, name: str) -> str:
    """The URL of one database of the server whose first database is `/postgres`."""
    return server_url.replace("/postgres?", f"/{name}?")
