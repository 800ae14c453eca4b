"""Every part killed at random moments: nothing lost, nothing counted twice.

More kills by hand: `python -m benchmarks.faults --kills 200`.
"""

from __future__ import annotations

import pytest

from tests.support.mqtt import open_folder
from tests.system.faults import harness, verdict

KILLS = 20


@pytest.mark.slow
@pytest.mark.mosquitto
@pytest.mark.timeout(280)
def test_no_kill_loses_or_doubles_a_stroke() -> None:
    with (
        open_folder() as folder,
        harness.after_kills(folder, kills=KILLS, seed=20, say=print) as plant,
    ):
        lines = verdict.judge(plant)
    print(verdict.table(lines))
    assert [line for line in lines if not line.good] == []
