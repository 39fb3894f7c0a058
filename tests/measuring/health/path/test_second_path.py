from functools import cache

import numpy as np
import pytest
from judged_pairs import named, profile_of
from scipy import signal

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.health.path.second_path import check_second_path, unseen_path
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.faults import second_path
from charprobe.simulation.rig.rig import Rig
from charprobe.simulation.rig.room_faults import diffuse_tail
from charprobe.stimulus.kinds.steady import Silence
from charprobe.stimulus.recipe import Recipe, load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.quantity import Quantity

RATE_HZ = 48_000


RECIPE = Recipe("quiet", "markers and a pause", (Silence("pause", 0.3),))


@cache
def played():
    stimulus = lay_out(RECIPE, rate_hz=RATE_HZ, take=1)
    rig = Rig(delay_samples=31.4, noise_dbfs=-105.0, ac_corner_hz=3.0, drift_ppm=11.0, lead_s=0.1)
    return stimulus, rig.record(render(stimulus), rate_hz=RATE_HZ, rng=np.random.default_rng(3))


def placed_again(samples):
    return place_take(Track(MemoryCapture(samples, rate_hz=RATE_HZ, name="a.wav"), 0, played()[0]))


def told_of(samples):
    return check_second_path(placed_again(samples), coded=False)


@pytest.mark.parametrize("gain_db", [-55.0, -40.0, -12.0, -3.0])
@pytest.mark.parametrize("time_ms", [-59.0, -4.1, -0.6, 0.6, 4.1, 40.0])
def test_a_copy_is_told_on_either_side_with_its_time_and_level(time_ms, gain_db):
    copied = second_path(played()[1], delay=round(time_ms * RATE_HZ / 1e3), gain_db=gain_db)
    (told,) = told_of(copied)
    side = "ahead of" if time_ms < 0 else "behind"
    assert f"{abs(time_ms):.1f} ms {side} the sound" in told.message
    level_db = -float(told.message.split(" dB lower")[0].split()[-1])
    assert abs(level_db - gain_db) <= 1.5  # whole dB are printed; what lies beside the sound adds its own
    # a weak copy moves no level, but sounds at the edges
    assert ("static" in told.withholds) == (gain_db > -45)
    assert "attack" in told.withholds


@pytest.mark.parametrize("kind", ["lowpass", "highpass"])
def test_a_copy_without_treble_or_bass_is_told(kind):
    samples = played()[1]
    dull = signal.sosfilt(signal.butter(2, 3000, kind, fs=RATE_HZ, output="sos"), samples, axis=0)
    (told,) = told_of(samples + 0.01 * np.roll(dull, -240, axis=0))
    assert told.code == "two-paths"
    assert "5.0 ms ahead" in told.message or "4.9 ms ahead" in told.message


def test_a_tail_is_told_by_its_energy_and_a_clean_capture_by_nothing():
    (told,) = told_of(diffuse_tail(played()[1], level_db=-50.0, rate_hz=RATE_HZ))
    assert told.code == "diffuse-tail"
    assert "49 dB below" in told.message or "50 dB below" in told.message
    assert told_of(played()[1]) == []


@pytest.mark.parametrize(("level_db", "codes"), [(-62.0, ["diffuse-tail"]), (None, [])])
def test_a_weaker_tail_is_told_where_a_sweep_shows_it_too(rng, level_db, codes):
    stimulus = lay_out(load_recipe("quick"), rate_hz=RATE_HZ, take=1)
    made = make_stage("slow-release").process(render(stimulus), rate_hz=RATE_HZ, rng=rng).samples
    samples = Rig(delay_samples=31.4, noise_dbfs=-105.0, tail_s=0.2).record(made, rate_hz=RATE_HZ, rng=rng)
    if level_db is not None:
        samples = diffuse_tail(samples, level_db=level_db, rate_hz=RATE_HZ)
    take = place_take(Track(MemoryCapture(samples, rate_hz=RATE_HZ, name="a.wav"), 0, stimulus))
    assert [item.code for item in check_second_path(take, coded=False)] == codes


def test_a_second_path_costs_everything_but_latency():
    profile = profile_of("smooth-gain-soft", fault=named("two-paths"))
    measured = {name for name, entry in profile.quantities.items() if isinstance(entry.reading, Quantity)}
    assert measured
    assert all(name.split(".")[0] == "path" for name in measured)
    message = next(item.message for item in profile.health if item.code == "two-paths")
    assert "4.1 ms behind the sound, 12 dB lower" in message  # as injected
    assert "retake" in message


@pytest.mark.parametrize("gain_db", [-45.0, -12.0])
def test_one_marker_tells_a_copy_where_the_other_is_cut_off(gain_db):
    late = round(played()[0].opening.start + 4000 + 0.1 * RATE_HZ)
    copied = second_path(played()[1], delay=200, gain_db=gain_db)
    (told,) = told_of(copied[late:])
    assert "4.2 ms behind the sound" in told.message
    assert told_of(played()[1][late:]) == []


def test_phases_turned_in_the_path_are_no_second_path():
    part = (np.tan(np.pi * 200 / RATE_HZ) - 1) / (np.tan(np.pi * 200 / RATE_HZ) + 1)
    turned = played()[1]
    for _ in range(4):
        turned = signal.lfilter([part, 1.0], [1.0, part], turned)
    assert told_of(turned) == []


def test_what_dies_away_behind_the_sound_is_no_second_path():
    parts = signal.sosfilt(signal.butter(4, 1600, fs=RATE_HZ, output="sos"), played()[1], axis=0)
    rest = signal.sosfilt(signal.butter(4, 1600, "highpass", fs=RATE_HZ, output="sos"), played()[1], axis=0)
    assert told_of(0.3 * parts + rest) == []


@pytest.mark.parametrize(
    ("filtered", "order", "between_hz"),
    [
        (signal.sosfiltfilt, 2, (6000, 8000)),
        (signal.sosfilt, 2, (6000, 8000)),
        (signal.sosfilt, 3, (8500, 11_500)),
    ],
)
def test_a_peak_in_the_treble_that_rings_is_no_second_path(filtered, order, between_hz):
    samples = played()[1]
    band = signal.butter(order, between_hz, "bandpass", fs=RATE_HZ, output="sos")
    assert not told_of(samples + 6.0 * filtered(band, samples, axis=0))


@pytest.mark.parametrize("time_ms", [-41.0, -4.1, 0.8, 4.1, 41.0])
@pytest.mark.parametrize("gain_db", [-60.0, -75.0])
def test_a_copy_too_weak_to_be_told_is_known_to_be_possible(time_ms, gain_db):
    copied = second_path(played()[1], delay=round(time_ms * RATE_HZ / 1e3), gain_db=gain_db)
    assert told_of(copied) == [] or time_ms > 0  # from 3 ms on, what follows may be told as a tail
    seen_db = 20 * np.log10(max(unseen_path(placed_again(copied))))
    # an interval reaches 1.96 / sqrt(2) times as far, 2.8 dB; energy counts over all of a copy's width
    assert gain_db - 2.8 < seen_db < gain_db + 3


def test_a_marker_under_which_a_gain_still_moves_hides_no_path_that_the_other_would_show():
    samples = played()[1]
    end_s = np.arange(samples.shape[0])[::-1, None] / RATE_HZ
    closing = np.where(end_s < 1.1, 1 - 0.5 * np.exp((end_s - 1.1) / 0.2), 1.0)  # 6 dB lower, and coming back
    copies = [unseen_path(placed_again(each))[0] for each in (samples, closing * samples)]
    assert copies[1] < 1.5 * copies[0]  # the opening one alone: root 2 for the noise


def test_a_path_that_holds_nothing_else_is_known_to_a_thousandth_of_a_db():
    assert 20 * np.log10(1 + max(unseen_path(placed_again(played()[1])))) < 0.001


def test_a_filter_that_rings_hides_no_copy():
    b, a = signal.iirpeak(2000, 6, fs=RATE_HZ)  # its ringing falls by 1 / e within 0.95 ms
    samples = played()[1]
    copy, _ = unseen_path(placed_again(samples + signal.lfilter(b, a, samples, axis=0)))
    assert 20 * np.log10(copy) < -70
