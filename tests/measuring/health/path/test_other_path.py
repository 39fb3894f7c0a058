import numpy as np
import pytest
from scipy import signal
from taken import RATE_HZ, take_of, wire

from charprobe.measuring.health.path.other_path import check_other_path, check_uneven_path
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.sweep import Sweep

PLAYED = (
    Sweep("response", 20.0, 20_000.0, 1.0, -30.0, gap_s=0.1),
    LevelSteps("steps", 997.0, -40.0, -10.0, 5.0, 0.15, False, gap_s=0.1),
)


def shelf(samples):
    """One pole and one zero around 3 kHz: +1.94 dB far above them."""
    return samples + 0.25 * signal.lfilter(*signal.butter(1, 3000, "high", fs=RATE_HZ), samples)


def squeezed(samples):
    """A stage that lowers everything, and the noise ahead of it, by 12 dB."""
    return 0.25 * samples


@pytest.fixture(scope="module")
def setting():
    return take_of(PLAYED, wire, rng=np.random.default_rng(1))


@pytest.mark.parametrize(
    ("device", "rig", "sign"),
    [
        (wire, {"drift_ppm": -14.0}, "ppm off"),
        (wire, {"noise_dbfs": -95.0}, "noise is at least 14 dB louder"),
        (shelf, {}, "response departs by +1."),
    ],
)
def test_a_bypass_of_another_path_is_told_with_its_sign(setting, device, rig, sign, rng):
    (item,) = check_other_path(setting, take_of(PLAYED, device, rng=rng, **rig), told=set())
    assert item.code == "other-path" and item.severity == "warn" and sign in item.message
    assert "response" in item.withholds


@pytest.mark.parametrize("device", [shelf, squeezed])
def test_what_a_stage_does_is_no_other_path(setting, device, rng):
    assert check_other_path(take_of(PLAYED, device, rng=rng), setting, told=set()) == []


def test_a_gain_that_heeds_level_may_even_out_what_the_path_bends(rng):
    def lifts(samples):  # 4:1 upwards, at once: three quarters of every bend are made good
        level = np.abs(signal.hilbert(samples))
        return samples * np.maximum(level, 1e-4) ** -0.75 * 0.1

    bent = take_of(PLAYED, shelf, rng=rng)
    assert (
        check_other_path(take_of(PLAYED, lambda x: lifts(shelf(x)), rng=rng), bent, told={"few-bits"}) == []
    )


def test_what_another_finding_explains_is_no_sign(setting, rng):
    noisy = take_of(PLAYED, wire, rng=rng, noise_dbfs=-70.0)
    assert check_other_path(setting, noisy, told={"foreign-noise"}) == []


def test_a_path_with_an_equaliser_is_uneven_and_one_with_a_coupling_is_flat(rng):
    (item,) = check_uneven_path(take_of(PLAYED, shelf, rng=rng))
    assert item.code == "uneven-path" and "+1." in item.message
    assert check_uneven_path(take_of(PLAYED, wire, rng=rng, ac_corner_hz=20.0)) == []


@pytest.mark.parametrize(("by_db", "told"), [(-0.5, True), (0.5, True), (-0.1, False)])
def test_a_flat_path_that_takes_lasting_tones_otherwise_than_a_sweep_follows_the_sound(
    setting, rng, by_db, told
):
    steps = setting.stimulus.segments[1].span.start

    def follows(samples):
        return np.concatenate([samples[:steps], 10 ** (by_db / 20) * samples[steps:]])

    found = check_uneven_path(take_of(PLAYED, follows, rng=rng))
    assert [item.code for item in found] == ["automatic-gain"] * told
    assert all("0.50 dB" in item.message and item.severity == "stop" for item in found)


@pytest.mark.parametrize(("corner_hz", "told"), [(20.0, True), (150.0, True), (600.0, True), (5.0, False)])
def test_a_path_that_turns_phases_alone_is_uneven(rng, corner_hz, told):
    at = np.tan(np.pi * corner_hz / RATE_HZ)
    keep = (at - 1) / (at + 1)

    def rotated(samples):  # four all-passes of first order
        for _ in range(4):
            samples = signal.lfilter([keep, 1], [1, keep], samples)
        return samples

    found = check_uneven_path(take_of(PLAYED, rotated, rng=rng))
    assert [item.code for item in found] == ["uneven-path"] * told
    assert all("is flat, but late" in item.message for item in found)


@pytest.mark.parametrize(("device", "told"), [(wire, 0), (shelf, 1)])
def test_noise_under_a_sweep_is_no_treble(rng, device, told):
    # a thirtieth of the sweep's power lies in each third of an octave, -45 dBFS, and around 12 kHz a tenth of the
    # noise, -55 dBFS: taken for gain that is +0.4 dB
    assert len(check_uneven_path(take_of(PLAYED, device, rng=rng, noise_dbfs=-45.0))) == told


def test_above_the_end_of_a_sweep_nothing_is_told():
    short = (Sweep("response", 20.0, 5_000.0, 1.0, -30.0, gap_s=0.1), *PLAYED[1:])
    quiet, hissing = (
        take_of(short, wire, rng=np.random.default_rng(n), noise_dbfs=noise_dbfs)
        for n, noise_dbfs in enumerate((-110.0, -60.0))
    )
    assert (
        check_other_path(hissing, quiet, told=set()) == check_other_path(quiet, hissing, told={"hum"}) == []
    )
    assert check_uneven_path(quiet) == check_uneven_path(hissing) == []
