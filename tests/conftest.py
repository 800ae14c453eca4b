"""One embedded server a test session, one template database, a clone of it for each test."""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from hypothesis import settings

from launch import postgres
from store.migrate import migrate

settings.register_profile("duestroke", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("duestroke")


@pytest.fixture(scope="session")
def cluster() -> Iterator[postgres.Cluster]:
    """A running embedded server for the whole session."""
    with tempfile.TemporaryDirectory(prefix="duestroke-test-") as folder:
        Path(folder).chmod(0o755)
        made = postgres.prepare(Path(folder))
        child = postgres.start(made)
        yield made
        postgres.stop(child)


@pytest.fixture(scope="session")
def template(cluster: postgres.Cluster) -> str:
    """Name of a migrated database that tests clone."""
    name = "duestroke_template"
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name}")
    migrate(database_at(cluster, name))
    return name


@pytest.fixture
def database_url(cluster: postgres.Cluster, template: str) -> Iterator[str]:
    """URL of a fresh, migrated database of this test's own."""
    name = f"t_{uuid.uuid4().hex}"
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    yield database_at(cluster, name)
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"DROP DATABASE {name} WITH (FORCE)")


def database_at(cluster: postgres.Cluster, name: str) -> str:
    """The URL of one database of the cluster."""
    return cluster.url.replace("/postgres?", f"/{name}?")
