import pytest

from charprobe.bench.rig_file import NAME, load_rig, save_rig
from charprobe.values.errors import LiveError
from tests.bench.rigs import STRIP, patch


def test_a_rig_comes_back_as_it_was(tmp_path):
    rig = patch(level_db=-3.0, inputs=(2,), exclusive=True)
    save_rig(tmp_path, rig)
    assert load_rig(tmp_path, (STRIP,)) == rig
    assert load_rig(tmp_path / "elsewhere", (STRIP,)) is None


def test_a_rig_file_is_data_and_a_device_may_be_gone(tmp_path):
    save_rig(tmp_path, patch())
    with pytest.raises(LiveError, match="no device to play"):
        load_rig(tmp_path, ())
    text = (tmp_path / NAME).read_text()
    (tmp_path / NAME).write_text(text.replace("48000", "1e99"))
    with pytest.raises(LiveError, match=r"rig\.json.*rate_hz"):
        load_rig(tmp_path, (STRIP,))
