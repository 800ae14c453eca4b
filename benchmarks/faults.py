"""`python -m benchmarks.faults --kills 200 --seed 7`: kill everything, lose and double nothing.

Starts the embedded Postgres, Mosquitto, the ingestor and the API; twelve simulated presses report
through gateways that keep a spool. Exit code 1 when a promise does not hold.
"""

from __future__ import annotations

import argparse
import sys

from launch.broker import find_mosquitto
from tests.support.mqtt import open_folder
from tests.system.faults import harness, verdict


def main() -> int:
    """Run, print every check, and say by the exit code whether all of them hold."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.faults", description=__doc__)
    parser.add_argument("--kills", type=int, default=20, help="20 or more (default 20)")
    parser.add_argument("--seed", type=int, default=1, help="seed of presses and moments")
    given = parser.parse_args()
    if find_mosquitto() is None:
        print("needs a Mosquitto: the wheel's broker keeps nothing over its own death")
        return 2
    with (
        open_folder() as folder,
        harness.after_kills(folder, kills=given.kills, seed=given.seed, say=_say) as plant,
    ):
        lines = verdict.judge(plant)
    print(verdict.table(lines))
    return 0 if all(line.good for line in lines) else 1


def _say(line: str) -> None:
    print(line, flush=True)


if __name__ == "__main__":
    sys.exit(main())
