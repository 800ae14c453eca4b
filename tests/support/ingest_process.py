"""An ingestor as a process of its own that can be held at a point: `python -m ...`.

Where the file named by `--hold` exists and holds the name of the point that the writer passes
(`written` or `committed`), the process makes a file of the same name with `.reached` and waits
there to be killed.
"""

from __future__ import annotations

import argparse
import logging
import signal
import threading
import time
from pathlib import Path

from ingest.app import run


def holder(file: Path):
    """A pause function that waits for ever at the point which the file names."""

    def pause(point: str) -> None:
        if file.exists() and file.read_text() == point:
            file.unlink()
            file.with_suffix(".reached").write_text(point)
            while True:
                time.sleep(60)

    return pause


def main() -> None:
    """Run until SIGTERM."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--database", required=True)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--username", required=True)
    parser.add_argument("--password", required=True)
    parser.add_argument("--hold", type=Path)
    parser.add_argument("--ready", type=Path)
    given = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    run(
        database_url=given.database,
        mqtt_host="127.0.0.1",
        mqtt_port=given.port,
        username=given.username,
        password=given.password,
        stop=stop,
        beat=None if given.ready is None else given.ready.touch,
        pause=None if given.hold is None else holder(given.hold),
    )


if __name__ == "__main__":
    main()
