"""Runs the iotcore wheel's broker in this process: `python -m launch.wheel_broker FILE.toml`."""

from __future__ import annotations

import logging
import sys

from iotcore.iotcore import IotCoreBroker


def main() -> None:
    """Serve until the process is ended; the Rust code has no other way to stop."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    # Its tracing reports every packet as an error.
    logging.getLogger("rumqttd").setLevel(logging.CRITICAL)
    IotCoreBroker(config_path=sys.argv[1]).run_forever()


if __name__ == "__main__":
    main()
