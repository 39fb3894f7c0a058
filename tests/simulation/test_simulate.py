import numpy as np
import pytest

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.simulate import record_pair, record_stage, simulate_file
from charprobe.values.errors import CharprobeError

RATE_HZ = 48_000
PLAIN = Rig(delay_samples=0.0, lead_s=0.0, tail_s=0.0)
QUIET = 0.01 * np.sin(2 * np.pi * 997 * np.arange(4800) / RATE_HZ)  # below every threshold


def test_the_same_seed_gives_the_same_capture_and_another_seed_another():
    rig = Rig(delay_samples=3.5, noise_dbfs=-90.0)
    takes = [
        record_stage(make_stage("plain-wire"), QUIET, rig=rig, rate_hz=RATE_HZ, seed=k) for k in (1, 1, 2)
    ]
    np.testing.assert_array_equal(takes[0], takes[1])
    assert not np.array_equal(takes[0], takes[2])


def test_two_units_of_a_stage_do_not_hear_each_other():
    both = np.stack([QUIET, 50 * QUIET], axis=1)
    pair = record_pair(make_stage("smooth-gain-hard"), both, rig=PLAIN, rate_hz=RATE_HZ, seed=1)
    alone = record_stage(make_stage("smooth-gain-hard"), QUIET, rig=PLAIN, rate_hz=RATE_HZ, seed=1)[:, 0]
    np.testing.assert_array_equal(pair[:, 0], alone)  # the loud side turns nothing down
    pair = record_pair(make_stage("linked-pair"), QUIET[:, None] * [1, 1], rig=PLAIN, rate_hz=RATE_HZ, seed=1)
    linked = record_pair(make_stage("linked-pair"), both, rig=PLAIN, rate_hz=RATE_HZ, seed=1)
    assert np.abs(linked[2400:, 0]).max() < 0.7 * np.abs(pair[2400:, 0]).max()


def test_a_fault_that_needs_floats_is_refused(tmp_path):
    write_wav(tmp_path / "a.wav", QUIET, rate_hz=RATE_HZ, subtype="float32", force=False)
    rig = Rig(delay_samples=0.0, bits=24)
    with pytest.raises(CharprobeError, match="misplaced-bits needs a float file"):
        simulate_file(make_stage("plain-wire"), tmp_path / "a.wav", tmp_path / "b.wav", rig=rig, seed=1,
                      force=False, faults=[("misplaced-bits", None, None)])  # fmt: skip
    assert not (tmp_path / "b.wav").exists()


def test_a_file_goes_through_and_keeps_rate_and_channels(tmp_path):
    write_wav(
        tmp_path / "a.wav", np.stack([QUIET, -QUIET], axis=1), rate_hz=44_100, subtype="float32", force=False
    )
    simulate_file(
        make_stage("plain-wire"), tmp_path / "a.wav", tmp_path / "b.wav", rig=PLAIN, seed=1, force=False
    )
    made = open_capture(tmp_path / "b.wav")
    assert (made.rate_hz, made.channels) == (44_100, 2)
    np.testing.assert_allclose(made.read(0, 4800, 1), -QUIET, rtol=0, atol=1e-7)  # float32


@pytest.mark.parametrize(("bits", "subtype"), [(None, "float32"), (16, "float32"), (24, "pcm24")])
def test_a_24_bit_rig_writes_24_bit_files(tmp_path, bits, subtype):
    write_wav(tmp_path / "a.wav", QUIET, rate_hz=RATE_HZ, subtype="float32", force=False)
    rig = Rig(bits=bits)
    simulate_file(
        make_stage("plain-wire"), tmp_path / "a.wav", tmp_path / "b.wav", rig=rig, seed=1, force=False
    )
    assert open_capture(tmp_path / "b.wav").facts.subtype == subtype
