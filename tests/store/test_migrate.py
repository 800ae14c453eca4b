"""Migrations apply once, in order, and refuse a file that changed afterwards."""

import dataclasses

import psycopg
import pytest

from store.migrate import MigrationChanged, migrate, migrations, pending


def test_a_second_run_finds_nothing(database_url):
    assert migrate(database_url) == []
    with psycopg.connect(database_url) as conn:
        assert pending(conn) == []


def test_a_changed_file_is_refused_by_name(database_url):
    first, *rest = migrations()
    changed = dataclasses.replace(first, text=first.text + "\n-- later thought")
    with pytest.raises(MigrationChanged, match=first.version):
        migrate(database_url, [changed, *rest])
