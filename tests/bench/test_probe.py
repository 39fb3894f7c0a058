import numpy as np
import pytest
from scipy.signal import lfilter

from charprobe.bench.probe import read_probe
from charprobe.bench.probe_sound import ProbePlan, probe_sound

RATE_HZ = 48_000
PLAN = ProbePlan(RATE_HZ, 1)


def loop(level, *, rng, gain=0.5, delay=300, noise=1e-5, change=lambda sound: sound, plan=PLAN):
    """What comes back of a step: delay, gain, whatever `change` does, noise; an input that hears nothing beside it."""
    sound = probe_sound(level, plan)
    came = gain * change(
        np.concatenate([np.zeros((delay, plan.outputs)), sound, np.zeros((2000, plan.outputs))])
    )
    came = came + noise * rng.standard_normal(came.shape)
    deaf = noise * rng.standard_normal((len(came), 1))
    return read_probe(np.hstack([came, deaf]), level, plan)


@pytest.mark.parametrize("level", [-40.0, -1.0])
@pytest.mark.parametrize("polarity", [1, -1])
def test_gain_delay_polarity_and_noise_of_a_plain_loop(level, polarity, rng):
    one, deaf = loop(level, gain=0.5 * polarity, rng=rng)
    assert one.gain_db == pytest.approx(20 * np.log10(0.5), abs=0.02)
    assert one.delay_s == pytest.approx(300 / RATE_HZ, abs=2e-5)
    assert one.polarity == polarity
    assert one.noise_dbfs == pytest.approx(20 * np.log10(1e-5 * np.sqrt(2)), abs=0.5)
    assert not one.clipped
    assert max(abs(one.moved_db), abs(one.held_db)) < 0.05
    assert abs(one.muted_db) < 3  # medians of 600 and 1000 exponential values: 1.5 dB is three sigma
    assert (deaf.gain_db, deaf.channel, deaf.hears) == (None, 2, ())


def test_each_input_says_which_outputs_it_hears(rng):
    plan = ProbePlan(RATE_HZ, 2)
    ways = {"straight": [[1, 0], [0, 1]], "exchanged": [[0, 1], [1, 0]], "one for both": [[1, 1], [0, 0]]}
    heard = {
        name: [
            one.hears
            for one in loop(-40.0, change=lambda sound, way=way: sound @ np.array(way), plan=plan, rng=rng)
        ]
        for name, way in ways.items()
    }
    assert heard == {
        "straight": [(0,), (1,), ()],
        "exchanged": [(1,), (0,), ()],
        "one for both": [(0,), (0,), ()],
    }
    mixed = loop(-40.0, change=lambda sound: sound @ np.array([[1, 0.001], [0.5, 1]]), plan=plan, rng=rng)
    assert [one.hears for one in mixed] == [(0, 1), (1,), ()]  # crosstalk of -60 dB is not a cable


def test_a_gain_that_is_held_down_after_the_burst_shows_in_the_second_sweep(rng):
    def automatic(sound):
        """A gain that follows a slow peak meter: falls fast, and comes back with 10 s."""
        level = np.zeros(1)
        gain = np.empty(len(sound))
        for n, size in enumerate(np.abs(sound[:, 0])):
            level = max(size, level * (1 - 1 / (10 * RATE_HZ)))
            gain[n] = min(1.0, 0.05 / max(level, 1e-9))
        return sound * gain[:, None]

    one, _ = loop(-6.0, change=automatic, rng=rng)
    held = (
        20 * np.log10(0.05 / 10 ** (-6 / 20)) + 20 * np.log10(np.e) * 0.55 / 10
    )  # half a second of coming back
    assert one.held_db == pytest.approx(held, abs=0.3)


@pytest.mark.parametrize(("left_db", "muted"), [(-60.0, True), (-25.0, True), (-6.0, False), (0.0, False)])
def test_noise_that_falls_in_silence_is_an_idle_mute_though_it_is_not_zero(left_db, muted, rng):
    sound = probe_sound(-40.0, PLAN)
    came = np.concatenate([np.zeros((300, 1)), 0.5 * sound])
    came += 1e-5 * rng.standard_normal(came.shape)
    level = lfilter([1 / 480], [1, -1 + 1 / 480], np.abs(came[:, 0]))
    came *= np.where(level > 2e-5, 1.0, 10 ** (left_db / 20))[:, None]
    assert (read_probe(came, -40.0, PLAN)[0].muted_db > 10) is muted


def test_a_digital_loop_with_exact_silence_has_no_idle_mute():
    came = np.concatenate([np.zeros((300, 1)), probe_sound(-40.0, PLAN)]).astype(np.float32)
    assert read_probe(came, -40.0, PLAN)[0].muted_db == 0.0


def test_a_burst_that_passes_before_a_stage_acts_is_in_the_peak(rng):
    def late(sound):
        """Twenty decibels down, two milliseconds after it gets loud."""
        loud = lfilter([1 / 96], [1, -1 + 1 / 96], np.abs(sound[:, 0])) > 0.2
        return sound * np.where(loud, 0.1, 1.0)[:, None]

    one, _ = loop(-1.0, gain=0.5, change=late, rng=rng)
    assert one.peak_dbfs == pytest.approx(-7.0, abs=0.1)
