"""The schema as one file: `python -m tests.support.schema` writes it anew from the migrations."""

from __future__ import annotations

import re
import subprocess
import tempfile
from pathlib import Path

from launch import postgres
from store import migrate as migrations

FILE = Path(migrations.__file__).with_name("schema.sql")
_HEAD = (
    "-- The whole schema, as all migrations leave it. Made by `python -m tests.support.schema`;\n"
    "-- a test holds it equal to them. To change the schema, add a migration.\n\n"
)


def dump(cluster: postgres.Cluster, database: str) -> str:
    """The schema of a database as text that is equal for equal schemas."""
    command = [cluster.tree.program("pg_dump"), "-h", cluster.socket_dir, "-U", "duestroke"]
    options = ["--schema-only", "--no-owner", "--exclude-table=schema_migration", database]
    done = subprocess.run([*command, *options], check=True, capture_output=True, text=True)
    kept = [
        line
        for line in done.stdout.splitlines()
        if line and not re.match(r"--|SET |SELECT pg_catalog|\\(un)?restrict ", line)
    ]
    # Names of not-null constraints depend on the way a table was made; they mean nothing.
    text = re.sub(r" CONSTRAINT \w+_not_null\d* NOT NULL", " NOT NULL", "\n".join(kept))
    return _HEAD + text + "\n"


def main() -> None:
    """Write the file from a database made by the migrations."""
    with tempfile.TemporaryDirectory(prefix="duestroke-schema-") as folder:
        Path(folder).chmod(0o755)
        cluster = postgres.prepare(Path(folder))
        child = postgres.start(cluster)
        try:
            migrations.migrate(cluster.url)
            FILE.write_text(dump(cluster, "postgres"), encoding="utf-8")
        finally:
            postgres.stop(child)


if __name__ == "__main__":
    main()
