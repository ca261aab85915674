"""`coldside rehearse --plain` as its user meets it."""

import subprocess
import sys
import threading

from tests.waiting import WAIT_SECONDS
from tui.cli import main


def test_a_fire_that_goes_out_before_the_pit_was_hot_is_told_and_so_is_the_drill(tmp_path):
    config = tmp_path / "pit.toml"
    assert main(["init", "-c", str(config)]) == 0
    words = ["rehearse", "-c", str(config), "--plain", "--speed", "1500", "--drill", "30:fire-out"]
    with subprocess.Popen(
        [sys.executable, "-m", "tui.cli", *words], stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        too_long = threading.Timer(90.0, process.kill)
        too_long.start()
        said = []
        for line in process.stderr:
            said.append(line.split(maxsplit=2)[-1])
            if "the fire is fading" in line:
                break
        process.communicate("quit\n", timeout=WAIT_SECONDS)
        too_long.cancel()
    told = "".join(said)
    assert process.returncode == 0
    assert told.index("drill: fire-out, minute 30 of the rehearsal") < told.index("drift/fading fire")
