"""The command line: `duestroke COMMAND`. Every fault ends as one line on stderr, no traceback."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Final, NoReturn

from launch import backtesting, logs
from launch.settings import BadSetting, Settings, read_settings

_FAILED: Final = 1
_WRONG: Final = 2
_SETTINGS_NOTE: Final = "Settings come from DUESTROKE_* variables; docs/settings.md lists them."
_UP_HELP: Final = "everything on this machine, with no data: database, broker, all parts"
_DEMO_HELP: Final = "the same with a demo plant: two years of history and live simulated presses"
_PARTS: Final = {
    "ingest": "take reports from the MQTT broker, count strokes, store them",
    "engine": "turn strokes, lives and stops into forecasts and keep them current",
    "api": "serve the HTTP interface",
    "board": "serve the pages that a plant looks at; it reads the API",
    "migrate": "bring the database's schema up to date and put the first tokens into it",
}
_IMPORT_HELP: Final = "take in a plant's own spreadsheets (CSV, XLSX), all of them or nothing"
_RECOMPUTE_HELP: Final = "make forecasts on record again from what was kept with them, and compare"
_SIMULATE_HELP: Final = "be the demo plant's presses and publish their reports"


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line, without the usage: `--help` has that."""

    def error(self, message: str) -> NoReturn:
        self.exit(_WRONG, f"{self.prog}: {message}\n")


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = _Parser(
        prog="duestroke",
        description="Stroke counts, tool lives and due ranges for the body makers of a can plant.",
        epilog="No screen of it proves that a machine is safe to reach into.",
    )
    top.add_argument("--version", action="version", version=f"duestroke {version('duestroke')}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, text in (("up", _UP_HELP), ("demo", _DEMO_HELP)):
        _add_up_options(_add(commands, name, text))
    for name, text in _PARTS.items():
        _add(commands, name, text, epilog=_SETTINGS_NOTE)
    simulate = _add(commands, "simulate", _SIMULATE_HELP, epilog=_SETTINGS_NOTE)
    simulate.add_argument(
        "--plant",
        type=Path,
        metavar="FILE",
        help="another plant than the demo's, from a TOML file (docs/simulator.md)",
    )
    one = simulate.add_mutually_exclusive_group()
    one.add_argument("--load", action="store_true", help="load the plant's history, then end")
    one.add_argument(
        "--truth", type=Path, metavar="FILE", help="write what really happened, for tests, then end"
    )
    _add_import_options(_add(commands, "import", _IMPORT_HELP, epilog=_SETTINGS_NOTE))
    backtesting.add_options(_add(commands, "backtest", backtesting.HELP, epilog=_SETTINGS_NOTE))
    recompute = _add(commands, "recompute", _RECOMPUTE_HELP, epilog=_SETTINGS_NOTE)
    _add_recompute_options(recompute)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code: 0 done, 1 failed, 2 a wrong option or setting."""
    given = parser().parse_args(arguments)
    try:
        return _run(given)
    except BadSetting as wrong:
        return _refuse(str(wrong))
    except KeyboardInterrupt:
        return 130


def _run(given: argparse.Namespace) -> int:
    if given.command in ("up", "demo"):
        return _up(given)
    settings = read_settings()
    logs.set_up(settings.log_level)
    if given.command == "import":
        return _import(given, settings)
    if given.command == "backtest":
        from launch import commands

        return commands.backtest(given, settings)
    if given.command == "recompute":
        return _recompute(given, settings)
    _part(given)(settings)
    return 0


def _up(given: argparse.Namespace) -> int:
    from launch import up
    from launch.datadir import Refused
    from launch.embedded import Options
    from launch.ports import PortTaken
    from launch.postgres import PostgresFailed
    from launch.trees import NoTree

    options = Options(
        kind=given.command,
        data_dir=given.data_dir,
        host=given.host,
        mqtt_port=given.mqtt_port,
        mqtt_port_v311=given.mqtt_port_v311,
        api_port=given.api_port,
        board_port=given.board_port,
        ready_file=given.ready_file,
    )
    read_settings()  # a wrong one stops the start here, not in a part
    try:
        return up.run(options)
    except (Refused, PortTaken) as refused:
        return _refuse(str(refused))
    except (PostgresFailed, NoTree) as failed:
        _refuse(str(failed))
        return _FAILED


def _import(given: argparse.Namespace, settings: Settings) -> int:
    from launch import commands

    return commands.adopt(
        settings, paths=given.files, is_dry=given.dry_run, template=given.template, by=given.by
    )


def _recompute(given: argparse.Namespace, settings: Settings) -> int:
    from launch import commands

    return commands.recompute(
        settings, given.numbers, press=given.press, position=given.position, last=given.last
    )


def _part(given: argparse.Namespace) -> Callable[[Settings], None]:
    from launch import commands

    if given.command == "simulate":
        return lambda settings: commands.simulate(
            settings, load=given.load, truth=given.truth, plant=given.plant
        )
    parts: dict[str, Callable[[Settings], None]] = {
        "ingest": commands.ingest,
        "engine": commands.engine,
        "api": commands.api,
        "board": commands.board,
        "migrate": commands.migrate,
    }
    return parts[given.command]


def _refuse(line: str) -> int:
    print(f"duestroke: {line}", file=sys.stderr)
    return _WRONG


def _add(
    commands: argparse._SubParsersAction[_Parser],
    name: str,
    text: str,
    epilog: str | None = None,
) -> _Parser:
    return commands.add_parser(name, help=text, description=f"{text}.".capitalize(), epilog=epilog)


def _add_up_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--data-dir", type=Path, default=Path(".duestroke"), metavar="DIR",
        help="where everything is kept (default ./.duestroke); the same one goes on where it was",
    )  # fmt: skip
    command.add_argument(
        "--host", default="127.0.0.1", help="address for API and broker (default 127.0.0.1)"
    )
    _add_port(command, "--mqtt-port", 1883, "MQTT")
    command.add_argument(
        "--mqtt-port-v311", type=_port, default=None, metavar="PORT",
        help="MQTT 3.1.1, where the broker needs a second port (default: the MQTT port and one)",
    )  # fmt: skip
    _add_port(command, "--api-port", 8000, "the API")
    _add_port(command, "--board-port", 8050, "the board")
    command.add_argument(
        "--ready-file", type=Path, metavar="FILE",
        help="written when all parts answer: addresses, accounts and process ids as JSON",
    )  # fmt: skip


def _add_import_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "files", nargs="*", type=Path, metavar="FILE",
        help="workbooks, files named as the sheets (tools.csv), or folders of either",
    )  # fmt: skip
    command.add_argument(
        "--dry-run", action="store_true", help="change nothing; list every row refused, and why"
    )
    command.add_argument(
        "--template", type=Path, metavar="DIR", help="write spreadsheets to fill in, then end"
    )
    command.add_argument(
        "--by", default="import", metavar="NAME",
        help="who enters it, as the record will say (default import)",
    )  # fmt: skip


def _add_recompute_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "numbers", nargs="*", type=int, metavar="ID",
        help="ids of forecasts on record; none: the last ones",
    )  # fmt: skip
    command.add_argument("--press", help="only those of one press, written site/line/press")
    command.add_argument("--position", help="only those of one position")
    command.add_argument(
        "--last", type=int, default=20, metavar="N", help="how many of the last ones (default 20)"
    )


def _add_port(command: argparse.ArgumentParser, option: str, default: int, what: str) -> None:
    text = f"port of {what} (default {default}; 0 picks a free one)"
    command.add_argument(option, type=_port, default=default, metavar="PORT", help=text)


def _port(text: str) -> int:
    """A port number, 0 for any free one."""
    if not text.isdecimal() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"got {text!r}, allowed is 0 to 65535")
    return int(text)
