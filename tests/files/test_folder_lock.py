import subprocess
import sys

import pytest

from charprobe.files.folder_lock import LOCK_NAME, folder_lock
from charprobe.values.errors import SessionError

HOLD = """
import sys, time
from pathlib import Path
from charprobe.files.folder_lock import folder_lock
with folder_lock(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


def test_a_second_run_is_refused_until_the_first_is_killed(tmp_path):
    holder = subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"
        with (
            pytest.raises(SessionError, match=f"in use by another run .process {holder.pid}."),
            folder_lock(tmp_path),
        ):
            pass
    finally:
        holder.kill()
        holder.communicate()
    assert (tmp_path / LOCK_NAME).exists()  # left behind by the kill, and no obstacle
    with folder_lock(tmp_path):
        pass


def test_a_run_that_ends_or_is_interrupted_takes_its_lock_away(tmp_path):
    with pytest.raises(KeyboardInterrupt), folder_lock(tmp_path):
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []
