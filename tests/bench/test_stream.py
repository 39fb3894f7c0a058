import _thread
import shutil
import threading
import time

import numpy as np
import pytest

from charprobe.bench import pulse, stream
from charprobe.bench.stream import record_take
from charprobe.files.sound.sound_file import open_capture
from charprobe.values.errors import LiveError
from tests.bench.fake_stream import opener
from tests.bench.rigs import no_meter, patch

RATE_HZ = 48_000


def take(tmp_path, sound, *, rig=None, made=None, meter=no_meter, **how):
    end = record_take(
        rig or patch(), sound, tmp_path / "take.wav", meter=meter, after_s=0.1, opened=opener(made, **how)
    )
    return end, open_capture(tmp_path / "take.wav").read_frames(0, 10**9)


def test_what_is_played_comes_back_whole_one_block_later(tmp_path, rng):
    sound = 0.1 * rng.standard_normal(20_000)
    end, came = take(tmp_path, sound)
    assert (end.ending, end.lost, end.flags) == ("whole", 0, ())
    assert end.frames == 20_000 + 4_800
    np.testing.assert_array_equal(came[1024 : 1024 + 20_000, 0], sound.astype(np.float32))
    np.testing.assert_array_equal(came[:, 1], came[:, 0])
    assert not came[:1024].any()


def test_two_sides_go_to_two_outputs_and_the_level_is_turned_down(tmp_path, rng):
    sound = 0.1 * rng.standard_normal((5000, 2))
    _, came = take(tmp_path, sound, rig=patch(level_db=-6.0))
    expected = (10 ** (-6 / 20) * sound).astype(np.float32)
    np.testing.assert_allclose(came[1024 : 1024 + 5000], expected, rtol=1e-6)


def test_only_the_chosen_channels_are_played_to_and_recorded(tmp_path, rng):
    sound, made = 0.1 * rng.standard_normal(5000), []
    _, came = take(tmp_path, sound, rig=patch(outputs=(2,), inputs=(2,)), made=made)
    played = np.concatenate(made[0].played)
    assert came.shape[1] == 1
    assert not played[:, 0].any()
    np.testing.assert_array_equal(came[1024 : 1024 + 5000, 0], sound.astype(np.float32))


def test_flags_of_the_driver_are_kept_with_their_time(tmp_path):
    end, _ = take(tmp_path, np.zeros(20_000), flag_at=10_000)
    assert [flag.text for flag in end.flags] == ["input overflow"]
    assert end.flags[0].time_s == pytest.approx(10_000 / RATE_HZ, abs=1024 / RATE_HZ)


def test_a_device_that_stops_calling_back_ends_the_take_and_leaves_what_came(tmp_path, monkeypatch):
    monkeypatch.setattr(pulse, "SILENT_S", 0.5)
    end, came = take(tmp_path, np.full(RATE_HZ, 0.1), stops_at=20_480)
    assert end.ending == "device gone"
    assert end.frames == len(came) == 20_480
    assert "sound server" in end.message


def test_a_server_that_hangs_is_left_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(pulse, "SILENT_S", 0.5)
    monkeypatch.setattr(stream, "CLOSING_S", 0.3)

    def opened(rig, callback):
        one = opener(stops_at=4096)(rig, callback)
        one.hangs = True
        return one

    end = record_take(patch(), np.zeros(RATE_HZ), tmp_path / "take.wav", meter=no_meter, opened=opened)
    assert (end.ending, end.frames) == ("device gone", 4096)


def test_ctrl_c_mutes_at_once_without_a_click_and_keeps_what_came(tmp_path):
    made, seen = [], []

    def meter(*, left_s, peaks):
        seen.append(left_s)
        if len(seen) == 3:
            _thread.interrupt_main()

    end, came = take(tmp_path, np.full(600 * RATE_HZ, 0.5), made=made, meter=meter)
    assert end.ending == "stopped by hand"
    assert len(came) > 0
    played = np.concatenate(made[0].played)[:, 0]
    after = np.flatnonzero(played != np.float32(0.5))[0]
    assert np.abs(np.diff(played[after - 1 :])).max() < 0.5 / (0.004 * RATE_HZ)
    assert not played[after + round(0.006 * RATE_HZ) :].any()


@pytest.mark.parametrize(("sound", "level_db"), [(np.full(100, 1.2), 0.0), (np.full(100, 0.1), 3.0)])
def test_nothing_louder_than_full_scale_is_ever_played(tmp_path, sound, level_db):
    made = []
    with pytest.raises(LiveError, match="would clip"):
        take(tmp_path, sound, rig=patch(level_db=level_db), made=made)
    assert not made


def test_levels_are_shown_while_it_runs(tmp_path):
    seen = []

    def meter(*, left_s, peaks):
        seen.append((left_s, peaks.max()))

    take(tmp_path, np.full(20 * RATE_HZ, 0.25), meter=meter)
    assert max(peak for _, peak in seen) == 0.25
    assert [left for left, _ in seen] == sorted((left for left, _ in seen), reverse=True)


def test_a_program_that_stood_still_does_not_blame_the_device(tmp_path, monkeypatch):
    monkeypatch.setattr(pulse, "SILENT_S", 0.3)
    monkeypatch.setattr(pulse, "STOOD_S", 0.3)
    made, seen = [], []

    def meter(*, left_s, peaks):
        seen.append(left_s)
        if len(seen) == 2:  # as after SIGSTOP: neither we nor the callbacks ran
            made[0].goes.clear()
            time.sleep(0.5)
            threading.Timer(0.1, made[0].goes.set).start()

    end, _ = take(tmp_path, np.full(40 * RATE_HZ, 0.1), made=made, meter=meter)
    assert end.ending == "whole"
    assert any("the program stood still" in flag.text for flag in end.flags)


def test_a_take_whose_folder_is_deleted_meanwhile_is_written_anew(tmp_path, monkeypatch):
    monkeypatch.setattr(stream, "SETTLE_EVERY_S", 0.05)
    path = tmp_path / "session" / "coming in" / "take.wav"
    path.parent.mkdir(parents=True)

    def meter(*, left_s, peaks):
        if path.exists() and path.stat().st_size > 200_000:
            shutil.rmtree(tmp_path / "session")

    end = record_take(
        patch(), np.full(600 * RATE_HZ, 0.1), path, meter=meter, opened=opener(device=lambda block: block)
    )
    assert end.ending == "disk"
    assert "was deleted" in end.message
    came = open_capture(path).read_frames(0, 10**9)
    assert len(came) > 20_000
    np.testing.assert_array_equal(came[2048:, 0], np.float32(0.1))
