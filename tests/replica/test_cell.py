"""Closed forms of the gain cell: settled gain, times, stores, and what went in found again."""

from dataclasses import replace

import numpy as np
import pytest

from charprobe.replica.cell import NO_TABLE, RunningCell, gain_db
from charprobe.replica.parts import Bend, Cell, Detector, Smoothing
from tests.benchmarks.feedback_loop import FeedbackLoop

RATE = 48_000
RMS = Detector("mean", 2.0, 0.003, 0.003)
SMOOTH = Smoothing(attack_s=0.005, release_s=0.08)
LIMIT = Bend(-20.0, 1.0)


def played(cell, samples, channels=1):
    wide = samples if samples.ndim == 2 else samples[:, None]
    return RunningCell(cell, rate_hz=RATE, channels=channels, table=NO_TABLE).play(wide)


def taken_back(cell, samples, channels=1):
    return RunningCell(cell, rate_hz=RATE, channels=channels, table=NO_TABLE).take_back(samples)


def step(level_db, *, seconds=1.0):
    """A constant of that level, which a peak detector reads without ripple."""
    return np.full(round(seconds * RATE), 10 ** (level_db / 20))


def bursts(rng, seconds=1.0):
    n = np.arange(round(seconds * RATE))
    swell = 10 ** (np.repeat(rng.uniform(-30, 0, n.size // 2400 + 1), 2400)[: n.size] / 20)
    return swell * np.sin(2 * np.pi * 300 * n / RATE + 3 * np.sin(2 * np.pi * 7 * n / RATE))


@pytest.mark.parametrize(
    ("bends", "level", "reduction"),
    [
        ((Bend(-20.0, 0.75),), -8.0, 9.0),
        ((Bend(-20.0, 0.5, 12.0),), -20.0, 0.75),  # 0.5 * 6**2 / 24
        ((Bend(-20.0, 1.5),), -10.0, 15.0),
        ((Bend(-30.0, 0.5), Bend(-10.0, 0.5)), -4.0, 16.0),
        ((Bend(-20.0, 1.0, most_db=6.0),), 0.0, 6.0),
        ((Bend(-40.0, 2.0, side="below"),), -45.0, 10.0),
        ((Bend(-40.0, -0.5, side="below", most_db=3.0),), -60.0, -3.0),
    ],
)
def test_the_settled_reduction_is_that_of_the_gain_computer(bends, level, reduction):
    gain = played(Cell(bends=bends, smoothing=SMOOTH, makeup_db=2.0), step(level)).gain_db[-1, 0]
    assert gain == pytest.approx(2.0 - reduction, abs=1e-4)  # 12 release times after the start: 6e-6 of 15 dB


@pytest.mark.parametrize("kind", ["peak", "mean", "envelope"])
def test_a_sine_reads_its_own_level(kind):
    times = (2.0, 0.05, 0.05) if kind == "mean" else (1.0, 0.0, 1.0) if kind == "peak" else (1.0, 0.0, 0.0)
    cell = Cell(Detector(kind, *times), (Bend(-40.0, 0.5),))
    tone = 0.1 * np.sin(2 * np.pi * 997 * np.arange(RATE) / RATE)
    reduction = -played(cell, tone).gain_db[RATE // 2 :, 0]
    assert np.mean(reduction) == pytest.approx(10.0, abs=0.02)  # ripple of 1 % in the mean: 0.5 * 0.04 dB


def test_the_attack_passes_63_percent_after_its_time_and_the_release_after_its_own():
    cell = Cell(bends=(LIMIT,), smoothing=SMOOTH)
    gain = played(cell, np.concatenate([step(-40), step(0), step(-40)])).gain_db[:, 0]
    up, down = gain[RATE : 2 * RATE], gain[2 * RATE :]
    assert (np.argmax(up < -20 * (1 - np.exp(-1))) + 1) / RATE == pytest.approx(0.005, abs=2 / RATE)
    assert (np.argmax(down > -20 * np.exp(-1)) + 1) / RATE == pytest.approx(0.08, abs=2 / RATE)


def test_a_feedback_loop_settles_at_one_plus_its_slope_to_one_and_is_quicker_by_as_much():
    cell = Cell(
        bends=(Bend(-20.0, 3.0),), smoothing=Smoothing(attack_s=0.02, release_s=0.02), loop="feedback"
    )
    gain = played(cell, np.concatenate([step(-12), step(0)])).gain_db[:, 0]
    assert gain[RATE - 1] == pytest.approx(-6.0, abs=1e-6)
    assert gain[-1] == pytest.approx(-15.0, abs=1e-6)
    assert gain[RATE + round(0.005 * RATE) - 1] == pytest.approx(-15 + 9 * np.exp(-1), abs=1e-6)


def test_a_loop_asks_for_more_than_it_comes_to():
    slow = Smoothing(attack_s=0.4, release_s=0.4)  # asked for 380 dB at first; 20:1 is 20 times as quick
    gain = played(Cell(bends=(Bend(-20.0, 19.0),), smoothing=slow, loop="feedback"), step(0)).gain_db[:, 0]
    # the first step takes the pole of the open loop: short of the closed one's by 5e-7 of the whole
    assert gain[round(0.02 * RATE) - 1] == pytest.approx(-19 * (1 - np.exp(-1)), abs=1e-5)


def test_the_root_of_a_mean_square_may_be_what_is_smoothed(rng):
    sound, poles = bursts(rng, 0.2), np.exp(-1 / (RATE * np.array([0.003, 0.01, 0.08])))
    mean, level, expected = 0.0, 0.0, []
    for power in 2 * sound**2:
        mean = poles[0] * mean + (1 - poles[0]) * power
        pole = poles[1] if np.sqrt(mean) > level else poles[2]
        level = pole * level + (1 - pole) * np.sqrt(mean)
        expected.append(-0.75 * max(0.0, 20 * np.log10(level + 1e-12) + 30))
    cell = Cell(RMS, (Bend(-30.0, 0.75),), Smoothing("amplitude", attack_s=0.01, release_s=0.08))
    np.testing.assert_allclose(played(cell, sound).gain_db[:, 0], expected, atol=1e-6)


def test_hold_waits_and_decoupled_puts_the_attack_behind_the_release():
    held = Cell(bends=(LIMIT,), smoothing=Smoothing(attack_s=0.001, release_s=0.05, hold_s=0.03))
    gain = played(held, np.concatenate([step(0), step(-40)])).gain_db[RATE:, 0]
    first = np.argmax(gain > gain[0] + 1e-9)
    assert first == round(0.03 * RATE)
    late = Smoothing(form="decoupled", attack_s=0.01, release_s=0.1)
    gain = played(Cell(bends=(LIMIT,), smoothing=late), np.concatenate([step(0), step(-40)])).gain_db[
        RATE:, 0
    ]
    t = np.arange(1, gain.size + 1) / RATE
    exact = -20 * (0.1 * np.exp(-t / 0.1) - 0.01 * np.exp(-t / 0.01)) / (0.1 - 0.01)
    np.testing.assert_allclose(gain, exact, atol=0.01)  # sampled store against the continuous one


def test_the_stores_of_two_stages_recover_as_their_sums_of_exponentials():
    t = np.arange(1, RATE + 1) / RATE
    sound = np.concatenate([step(0, seconds=0.5), step(-40)])

    def back(**slow):
        smoothing = Smoothing(attack_s=0.002, release_s=0.05, slow_s=0.6, **slow)
        return -played(Cell(bends=(LIMIT,), smoothing=smoothing), sound).gain_db[RATE // 2 :, 0] / 20

    beside = back(release="side by side", slow_share=0.3)
    np.testing.assert_allclose(beside, 0.7 * np.exp(-t / 0.05) + 0.3 * np.exp(-t / 0.6), atol=1e-9)
    moved = 0.5 * (1 - np.exp(-0.5 / 0.25))
    charged = back(release="charged", slow_share=0.5, charge_s=0.25)
    np.testing.assert_allclose(charged, (1 - moved) * np.exp(-t / 0.05) + moved * np.exp(-t / 0.6), atol=1e-3)
    shared = back(release="shared", slow_share=0.3)
    slow = shared[-1] / np.exp(-1 / 0.6)  # after a second only the slow store is left
    fast = shared[0] - slow
    np.testing.assert_allclose(shared, fast * np.exp(-(t - t[0]) / 0.05) + slow * np.exp(-t / 0.6), atol=1e-3)
    assert slow > 0.5  # half a second of charge moved more than its share into it
    larger = back(release="larger", charge_s=0.25)
    stored = 1 - np.exp(-0.5 / 0.25)
    np.testing.assert_allclose(larger, np.maximum(np.exp(-t / 0.05), stored * np.exp(-t / 0.6)), atol=1e-9)


def test_a_loop_around_an_average_steps_as_it_does_open():
    device = FeedbackLoop("loop", -20.0, 20.0, 0.002, 0.08, 6.0, 0.007, 0.0)
    smoothing = Smoothing(attack_s=0.002, release_s=0.08)
    cell = Cell(Detector("mean", 2.0, 0.007, 0.007), (Bend(-20.0, 19.0, 6.0),), smoothing, "feedback")
    sound = np.concatenate([step(-40, seconds=0.1), step(-3, seconds=0.2), step(-40, seconds=0.2)])
    true = device.process(sound, rate_hz=RATE, rng=np.random.default_rng(1)).gain_db
    # it hears 0.3 % of a sample at once, which 19 times makes the attack of 96 samples slower by 0.03 %, of 20 dB
    np.testing.assert_allclose(played(cell, sound).gain_db[:, 0], true, atol=0.006)


@pytest.mark.parametrize("power", [-1.0, 0.5, 1.0])
def test_a_power_of_the_gain_is_what_follows(power):
    cell = Cell(bends=(LIMIT,), smoothing=replace(SMOOTH, power=power))
    gain = played(cell, np.concatenate([step(-40), step(0), step(-40)])).gain_db[:, 0]
    t = np.arange(1, RATE + 1) / RATE
    whole = 10 ** (power * 20 / 20) - 1  # of 20 dB
    for part, left in (
        (gain[RATE : 2 * RATE], 1 - np.exp(-t / 0.005)),
        (gain[2 * RATE :], np.exp(-t / 0.08)),
    ):
        np.testing.assert_allclose(part, -20 / power * np.log10(1 + whole * left), atol=1e-6)


def test_a_release_takes_the_longer_the_more_its_slow_store_holds():
    held = Smoothing(
        attack_s=0.001,
        release_s=0.05,
        release="slowed",
        slow_s=60.0,
        charge_s=0.2,
        stretch=2e3,
        stretch_db=1e4,
    )
    sound = np.concatenate([step(0, seconds=0.5), step(-40)])
    back = -played(Cell(bends=(LIMIT,), smoothing=held), sound).gain_db[RATE // 2 :, 0]
    store = 20 * (
        1 - np.exp(-0.5 / 0.2)
    )  # nothing of which leaves in a second, to 2 %; nor does the depth count, to 0.2 %
    t = np.arange(1, RATE + 1) / RATE
    np.testing.assert_allclose(back, 20 * np.exp(-t / (0.05 * (1 + 0.2 * store))), atol=0.15)


CELLS = {
    "average": Cell(Detector("mean", 1.0, 0.002, 0.002), (Bend(-24.0, 0.95, 2.0),), SMOOTH, makeup_db=4.0),
    "rms level": Cell(Detector("mean", 2.0), (Bend(-30.0, 0.6),), Smoothing("level", attack_s=0.03, release_s=0.03)),
    "power 3": Cell(Detector("mean", 3.0, 0.001, 0.004), (Bend(-24.0, 0.75, 6.0),), SMOOTH),
    "peak instant": Cell(Detector("peak"), (Bend(-20.0, 0.75),), Smoothing(release_s=0.08)),
    "envelope": Cell(Detector("envelope"), (Bend(-24.0, 0.75),), SMOOTH),
    "low cut and shelf": Cell(Detector("peak", low_cut_hz=150.0, shelf_hz=2e3, shelf_db=6.0), (Bend(-26.0, 0.6, 6.0),), SMOOTH),
    "steep low cut": Cell(Detector("peak", low_cut_hz=150.0, low_cut_q=0.7), (Bend(-26.0, 4.0),), SMOOTH, "feedback"),
    "level in dB": Cell(RMS, (Bend(-26.0, 0.6, 6.0), Bend(-8.0, 0.4)), Smoothing("level in dB", attack_s=0.004, release_s=0.1)),
    "root": Cell(RMS, (Bend(-26.0, 0.75, 4.0),), Smoothing("amplitude", attack_s=0.01, release_s=0.1)),
    "hold": Cell(RMS, (Bend(-26.0, 0.75),), Smoothing(form="decoupled", attack_s=0.01, release_s=0.1, hold_s=0.02)),
    "shared": Cell(RMS, (Bend(-26.0, 0.8, 4.0),), Smoothing(attack_s=0.006, release_s=0.06, release="shared", slow_s=0.9, slow_share=0.5)),
    "feedback": Cell(RMS, (Bend(-28.0, 5.0, 6.0),), Smoothing(attack_s=0.01, release_s=0.4), "feedback", makeup_db=2.0),
    "over": Cell(RMS, (Bend(-20.0, 1.2, 4.0),), SMOOTH),
    "conductance": Cell(RMS, (Bend(-26.0, 0.75, 4.0),), replace(SMOOTH, power=1.0)),
    "gain itself": Cell(RMS, (Bend(-28.0, 5.0, 6.0),), Smoothing(attack_s=0.01, release_s=0.4, power=-1.0), "feedback"),
    "slowed": Cell(RMS, (Bend(-26.0, 0.8),), Smoothing(
        attack_s=0.006, release_s=0.06, release="slowed", slow_s=2.0, charge_s=0.3, stretch=5.0, stretch_db=0.2, power=1.0)),
    "larger": Cell(RMS, (Bend(-26.0, 0.8, 4.0),), Smoothing(attack_s=0.006, release_s=0.06, release="larger", slow_s=0.9, charge_s=0.1)),
    "expander": Cell(RMS, (Bend(-20.0, 1.0, 4.0, "below", 30.0),), SMOOTH),
}  # fmt: skip


@pytest.mark.parametrize("name", CELLS)
def test_what_went_in_is_found_again(name, rng):
    cell, sound = CELLS[name], bursts(rng)
    through = played(cell, sound)
    back = taken_back(cell, through.sound)
    assert np.ptp(through.gain_db) > 2 and not back.lost.any()
    error = np.linalg.norm(back.sound[:, 0] - sound) / np.linalg.norm(sound)
    assert error < 1e-8  # the root is found to 1e-9 dB a sample


def test_a_linked_pair_takes_over_its_share_and_comes_back(rng):
    cell = Cell(RMS, (Bend(-24.0, 0.75),), SMOOTH, link=0.6)
    sound = np.stack([bursts(rng), 0.01 * bursts(rng)], axis=1)
    through = played(cell, sound, channels=2)
    alone = played(cell, sound[:, :1]).gain_db[:, 0]
    np.testing.assert_allclose(through.gain_db[:, 1], 0.6 * alone, atol=1e-9)
    back = taken_back(cell, through.sound, channels=2)
    assert np.linalg.norm(back.sound - sound) < 1e-7 * np.linalg.norm(sound)


def test_what_a_flat_line_held_is_told_as_lost():
    cell = Cell(bends=(LIMIT,))  # an instant limiter: every input above -20 dBFS gives the same output
    back = taken_back(cell, np.array([[0.05], [0.2], [0.01]]))
    assert back.lost[:, 0].tolist() == [False, True, False]
    np.testing.assert_allclose(back.sound[[0, 2], 0], [0.05, 0.01])


@pytest.mark.parametrize("name", CELLS)
def test_a_fit_hears_what_is_played_and_a_look_ahead_is_done(name, rng):
    cell, sound = CELLS[name], bursts(rng, 0.2)
    ahead = 0.002 if cell.loop == "feed-forward" else 0.0
    direct = played(cell, np.concatenate([sound, np.zeros(96)])).gain_db[:, 0]
    late = round(ahead * RATE)
    found = gain_db(replace(cell, lookahead_s=ahead), sound, rate_hz=RATE)
    np.testing.assert_allclose(found, direct[late : late + sound.size], atol=1e-9)
