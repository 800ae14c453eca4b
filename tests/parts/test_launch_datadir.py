"""The data dir, ports, output and command line, each without the parts."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from launch import datadir
from launch.broker import password_line
from launch.cli import main, parser
from launch.datadir import Refused, held
from launch.out import Out
from launch.ports import PortTaken, Wanted, claim
from tests.support.mqtt import wait_until

SLEEPS = "import time\nprint('up', flush=True)\ntime.sleep(60)\n"


def test_a_data_dir_has_one_user_at_a_time(tmp_path: Path) -> None:
    in_use = pytest.raises(Refused, match=rf"in use .*\(process {os.getpid()}\)")
    with held(tmp_path, "up"), in_use, held(tmp_path, "up"):
        pass
    with held(tmp_path, "up"):
        pass


def test_a_demo_and_a_plant_never_share_a_data_dir(tmp_path: Path) -> None:
    with held(tmp_path, "demo"):
        pass
    with pytest.raises(Refused, match="was made by `duestroke demo`"), held(tmp_path, "up"):
        pass


def test_a_data_dir_that_can_not_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(Refused, match="--data-dir"), held(tmp_path / "file" / "data", "up"):
        pass


def test_secrets_are_made_once_differ_and_are_their_owners_alone(tmp_path: Path) -> None:
    made = datadir.read_secrets(tmp_path)
    assert datadir.read_secrets(tmp_path) == made
    assert stat.S_IMODE((tmp_path / "secrets.json").stat().st_mode) == 0o600
    assert len({made.mqtt_password, made.admin_token, made.viewer_token}) == 3
    assert min(map(len, (made.mqtt_password, made.admin_token, made.viewer_token))) >= 43


def test_secrets_of_an_older_data_dir_stay_and_get_what_they_lack(tmp_path: Path) -> None:
    made = datadir.read_secrets(tmp_path)
    file = tmp_path / "secrets.json"
    old = json.loads(file.read_text())
    del old["crew_token"], old["engineer_token"]
    datadir.write_private(file, old)
    now = datadir.read_secrets(tmp_path)
    assert (now.admin_token, now.mqtt_password) == (made.admin_token, made.mqtt_password)
    assert len({now.admin_token, now.viewer_token, now.crew_token, now.engineer_token}) == 4
    assert datadir.read_secrets(tmp_path) == now


def test_a_file_is_written_in_one_step(tmp_path: Path) -> None:
    """A reader sees the old content or the new, and no half file stays behind."""
    file = tmp_path / "ready.json"
    for n in range(3):
        datadir.write_private(file, {"n": n})
        assert json.loads(file.read_text()) == {"n": n}
    assert [item.name for item in tmp_path.iterdir()] == ["ready.json"]


def test_what_a_killed_run_left_behind_is_ended_and_nothing_else(tmp_path: Path) -> None:
    left, other = (
        subprocess.Popen([sys.executable, "-c", SLEEPS], start_new_session=True) for _ in range(2)
    )
    datadir.note_pids(tmp_path, {"api": left.pid, "board": other.pid})
    noted = json.loads((tmp_path / "pids.json").read_text())
    noted["board"]["began"] = "another time, so another process under the number"
    (tmp_path / "pids.json").write_text(json.dumps(noted))
    assert datadir.end_left_over(tmp_path, within_s=0.5) == ["api"]
    assert left.wait(5) == -signal.SIGTERM
    assert other.poll() is None
    other.kill()
    other.wait(5)
    assert datadir.end_left_over(tmp_path) == []


def test_free_ports_are_all_different_and_a_taken_one_names_its_option() -> None:
    assert len(set(claim([Wanted("--x", "127.0.0.1", 0)] * 20))) == 20
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(PortTaken, match=rf"^--api-port {port}: can't listen on 127\.0\.0\.1"):
            claim([Wanted("--mqtt-port", "127.0.0.1", 0), Wanted("--api-port", "127.0.0.1", port)])
    same = Wanted("--mqtt-port", "127.0.0.1", port), Wanted("--board-port", "127.0.0.1", port)
    with pytest.raises(PortTaken, match=r"^--board-port"):
        claim(same)


def test_a_reader_that_does_not_read_holds_nobody_up() -> None:
    reading, writing = os.pipe()
    out = Out(writing)
    for n in range(20_000):
        out.say(f"line {n}")
    got = b""
    while b"line 19999\n" not in got:
        got += os.read(reading, 65_536)
        out.flush()
    lines = got.decode().splitlines()
    assert lines[0] == "line 0"
    assert any(re.fullmatch(r"\.\.\. \d+ lines were not read", line) for line in lines)
    os.close(reading)
    out.say("to nobody")
    out.say("still to nobody")
    os.close(writing)


def test_the_password_file_has_the_form_that_mosquitto_reads() -> None:
    """Format of mosquitto_passwd 2: user:$7$iterations$salt$hash, base64, 64 bytes of PBKDF2."""
    line = password_line("duestroke", "secret", b"123456789012")
    assert re.fullmatch(r"duestroke:\$7\$\d+\$[A-Za-z0-9+/]{16}\$[A-Za-z0-9+/]{86}==\n", line)
    assert line != password_line("duestroke", "Secret", b"123456789012")


def test_help_explains_each_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == 0
    said = capsys.readouterr().out
    for command in ("up", "demo", "ingest", "engine", "api", "board", "migrate", "simulate"):
        assert re.search(rf"^ +{command} +\w", said, re.MULTILINE), command


@pytest.mark.parametrize("command", ["up", "demo"])
def test_the_options_of_the_contract_and_their_defaults(command: str) -> None:
    given = vars(parser().parse_args([command]))
    assert given["data_dir"] == Path(".duestroke")
    assert (given["host"], given["mqtt_port"]) == ("127.0.0.1", 1883)
    assert (given["api_port"], given["board_port"]) == (8000, 8050)
    assert given["ready_file"] is None


@pytest.mark.parametrize("port", ["-1", "65536", "http", "80.0"])
def test_a_port_that_is_none_is_refused(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["up", "--api-port", port])
    said = capsys.readouterr().err
    assert "--api-port" in said
    assert "allowed is 0 to 65535" in said
    assert said.count("\n") == 1


def test_a_wrong_setting_stops_a_command_with_one_line(tmp_path: Path) -> None:
    for command in ("ingest", "up"):
        done = subprocess.run(
            [sys.executable, "-P", "-m", "launch", command],
            env={**os.environ, "DUESTROKE_LOG_LEVEL": "loud"},
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 2
        assert re.fullmatch(r"duestroke: DUESTROKE_LOG_LEVEL: .*\n", done.stderr)


def test_a_second_signal_while_stopping_is_no_trap() -> None:
    """A part gets its stop more than once: from the supervisor and from its parent's death."""
    code = (
        "import sys\nfrom launch.commands import stop_event\n"
        "stop = stop_event()\nprint('up', flush=True)\n"
        "while not stop.wait(0.0001): pass\n"
    )
    for _ in range(5):
        child = subprocess.Popen(
            [sys.executable, "-c", code], stdout=subprocess.PIPE, start_new_session=True
        )
        assert child.stdout is not None
        assert child.stdout.readline() == b"up\n"
        for _ in range(20):
            child.send_signal(signal.SIGTERM)
        wait_until(lambda child=child: child.poll() is not None, within_s=10, what="it ends")
        assert child.wait() == 0
        child.stdout.close()
