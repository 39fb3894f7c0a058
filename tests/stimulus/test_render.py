import math
from itertools import pairwise

import numpy as np
import pytest

from charprobe.stimulus.kinds.bursts import edge_phase
from charprobe.stimulus.kinds.sweep import render_sweep
from charprobe.stimulus.recipe import (
    BurstLengths,
    Bursts,
    BurstTrain,
    LevelSteps,
    Recipe,
    Silence,
    Sweep,
    Tones,
    load_recipe,
    shipped_recipes,
)
from charprobe.stimulus.render import lay_out, render, render_segment

RATE = 48_000
STEPS = LevelSteps("steps", 997.0, -20.0, -2.0, 3.0, 0.1)
BURSTS = Bursts("bursts", 3989.0, 8, -30.0, -3.0, 0.05, 0.02, 0.1)


def one(spec, rate_hz=RATE):
    stimulus = lay_out(Recipe("x", "x", (spec,)), rate_hz=rate_hz, take=7)
    segment = stimulus.segments[0]
    return segment, render_segment(segment, rate_hz=rate_hz)


@pytest.mark.parametrize("name", shipped_recipes())
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_shipped_recipes_stay_below_their_peak_and_inside_their_timetable(name, rate_hz):
    recipe = load_recipe(name)
    stimulus = lay_out(recipe, rate_hz=rate_hz, take=1)
    samples = render(stimulus)
    assert samples.shape == (stimulus.length,)
    assert np.abs(samples).max() <= 10 ** (recipe.peak_dbfs / 20) * (1 + 1e-12)
    spans = [stimulus.opening, stimulus.ident, *(s.span for s in stimulus.segments), stimulus.closing]
    assert all(a.stop <= b.start for a, b in pairwise(spans))
    assert not samples[: round(0.25 * rate_hz)].any()  # the quiet pre-roll
    limits = {"quick": 30, "standard": 150, "full": 360}
    assert stimulus.duration_s <= limits.get(name, 360)


def test_steps_rise_and_fall_to_the_exact_levels():
    segment, samples = one(STEPS)
    levels = [t.level_dbfs for t in segment.tones]
    assert levels == [-20, -17, -14, -11, -8, -5, -2, -5, -8, -11, -14, -17, -20]
    for tone in segment.tones:
        begin = tone.start - segment.span.start + tone.ramp
        n = np.arange(tone.ramp, tone.length - 300)
        expected = 10 ** (tone.level_dbfs / 20) * np.cos(2 * np.pi * 997 * n / RATE + tone.phase_rad)
        np.testing.assert_allclose(
            samples[begin : begin + n.size], expected, atol=1e-9
        )  # rounding of the argument


def test_steps_join_without_a_phase_jump():
    segment, _ = one(STEPS)
    start = segment.span.start
    for tone in segment.tones:
        jump = tone.phase_rad - 2 * np.pi * 997 * (tone.start - start) / RATE
        assert abs(math.remainder(jump, 2 * np.pi)) < 1e-9


def test_a_phase_set_has_constant_energy_at_every_sample_between_its_ends():
    segment, samples = one(BURSTS)
    ends = 2 * round(0.005 * RATE)
    total = 0.0
    for k in range(8):
        low, high, _ = segment.tones[3 * k : 3 * k + 3]
        # the phase advances by pi/8, the polarity alternates
        assert high.phase_rad == pytest.approx(k * (np.pi + np.pi / 8) % (2 * np.pi))
        begin = low.start - segment.span.start
        total = total + samples[begin : begin + 3 * 2400 + 960][ends:-ends] ** 2
    lead = low.length - ends
    np.testing.assert_allclose(total[:lead], 4 * 10 ** (-30 / 10), rtol=1e-9)  # K/2 A²: a sum of shifted cos²
    np.testing.assert_allclose(total[lead : lead + 960], 4 * 10 ** (-3 / 10), rtol=1e-9)


def test_an_odd_phase_set_cancels_even_orders():
    for phases in (5, 7):  # of 3 phases a third of the residue stays
        angles = np.array([edge_phase(k, phases=phases) for k in range(phases)])
        carrier = np.cos(angles + np.linspace(0, 6, 50)[:, None])
        np.testing.assert_allclose(np.sum(carrier**2, axis=1), phases / 2, rtol=1e-12)
        np.testing.assert_allclose(np.sum(carrier**3, axis=1), 0, atol=1e-12)  # x times its own square


def test_burst_lengths_hold_as_long_as_asked():
    segment, _ = one(BurstLengths("b", 3989.0, 2, -30.0, -3.0, 0.05, (0.01, 0.1), 0.2))
    highs = [t for t in segment.tones if t.level_dbfs == -3.0]
    assert [t.length for t in highs] == [480, 480, 4800, 4800]
    assert [t.group for t in segment.tones] == [g for g in range(4) for _ in range(3)]


def test_a_train_of_bursts_alternates_and_keeps_its_carrier_running():
    spec = BurstTrain("p", 3989.0, 3, -30.0, -3.0, 0.05, 0.02, 0.03, 4, 0.2)
    segment, samples = one(spec)
    first = [tone for tone in segment.tones if tone.group == 0]
    assert [t.level_dbfs for t in first] == [-30.0, *[-3.0, -30.0] * 4]
    assert [t.length for t in first] == [2400, *[960, 1440] * 3, 960, 9600]
    start = first[0].start
    for tone in first:
        turns = tone.phase_rad - first[0].phase_rad - 2 * np.pi * 3989 * (tone.start - start) / RATE
        assert abs(math.remainder(turns, 2 * np.pi)) < 1e-8
    # of a phase set the squares add up to a constant in every burst
    length = first[-1].stop - start
    starts = [tone.start - segment.span.start for tone in segment.tones][::9]
    total = sum(samples[begin : begin + length] ** 2 for begin in starts)
    in_burst = slice(2400 + 3 * (960 + 1440), 2400 + 3 * (960 + 1440) + 960)
    np.testing.assert_allclose(total[in_burst], 1.5 * 10 ** (-3 / 10), rtol=1e-9)


def test_the_sweep_is_the_closed_form_and_runs_through_its_frequencies():
    spec = Sweep("s", 20.0, 20_000.0, 2.0, -10.0)
    segment, samples = one(spec)
    assert segment.tones == ()
    t = np.arange(samples.size) / RATE
    rate_s = 2.0 / math.log(1000)
    middle = (t > 0.01) & (t < 1.99)
    expected = 10**-0.5 * np.sin(2 * np.pi * 20 * rate_s * np.exp(t / rate_s))
    np.testing.assert_allclose(samples[middle], expected[middle], atol=1e-8)
    assert not render_sweep(spec, np.array([-1.0, 0.0, 2.0, 3.0])).any()


def test_tones_play_every_level_of_every_frequency():
    segment, _ = one(Tones("t", (100.0, 997.0), (-40.0, -20.0, -5.0), 0.1))
    assert [(t.frequency_hz, t.level_dbfs) for t in segment.tones] == [
        (f, level) for f in (100.0, 997.0) for level in (-40.0, -20.0, -5.0)
    ]


def test_silence_is_digital_zero_and_then_a_quiet_tone():
    _, samples = one(Silence("n", 0.5, 0.3))
    assert not samples[: RATE // 2].any()
    assert np.abs(samples[RATE // 2 :]).max() == pytest.approx(1e-3, rel=1e-3)
    assert one(Silence("n", 0.5))[0].tones == ()


def test_rendering_is_the_same_at_every_call():
    stimulus = lay_out(load_recipe("quick"), rate_hz=44_100, take=3)
    assert render(stimulus).tobytes() == render(stimulus).tobytes()
