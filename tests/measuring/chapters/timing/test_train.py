import math

import numpy as np
import pytest
from taken import column, reading, take_of, wire

from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.bursts import Bursts, BurstTrain
from charprobe.values.quantity import Unmeasured

RATE_HZ, CARRIER_HZ, LOW, HIGH = 48_000, 3989.0, -40.0, -4.0
HOLD_S, PAUSE_S, REPEATS = 0.06, 0.1, 8


def train(repeats=REPEATS, pause_s=PAUSE_S):
    return BurstTrain("train", CARRIER_HZ, 3, LOW, HIGH, 0.3, HOLD_S, pause_s, repeats, 1.5)


def chapter_of(device, rng, *segments):
    return timing_chapter(take_of(segments, device, rng=rng), take_of(segments, wire, rng=rng), None)


class Pumping:
    """Gain in closed form: falls with one time constant in bursts and recovers with another between them."""

    depth_db, attack_s, release_s = 10.0, 0.01, 0.15

    def __call__(self, samples):
        smooth = np.convolve(np.abs(samples), np.ones(25) / 25, mode="full")[12 : 12 + samples.size]
        loud = smooth > 10 ** (-20 / 20)
        turns = np.flatnonzero(np.diff(loud))
        self.hold_s, self.pause_s = ((turns[i + 1] - turns[i]) / RATE_HZ for i in (0, 1))
        target = np.where(loud, -self.depth_db, 0.0)
        gain, now = np.empty(samples.size), 0.0
        for i, aim in enumerate(target):
            tau = self.attack_s if aim < now else self.release_s
            now = aim + (now - aim) * math.exp(-1 / (tau * RATE_HZ))
            gain[i] = now
        return samples * 10 ** (gain / 20)

    def settled(self):
        """Reduction at the end of bursts and of pauses in a train that goes on for ever."""
        fall, rise = math.exp(-self.hold_s / self.attack_s), math.exp(-self.pause_s / self.release_s)
        most = self.depth_db * (1 - fall) / (1 - fall * rise)
        return most, most * rise


def test_swing_and_what_is_held_equal_the_closed_form(rng):
    device = Pumping()
    chapter = chapter_of(device, rng, train())
    most, least = device.settled()
    # the goal for settled gains; the device sees an edge up to 12 samples beside its place, 0.01 dB
    assert reading(chapter, "release.train_swing").value == pytest.approx(most - least, abs=0.02)
    assert reading(chapter, "release.train_held").value == pytest.approx(least, abs=0.02)
    before, end = (column(chapter, "burst_train", name) for name in ("before_db", "end_db"))
    assert before[0] == pytest.approx(0.0, abs=0.01)
    assert end[-1] == pytest.approx(-most, abs=0.02)
    assert any("train of 60 ms bursts" in sentence for sentence in chapter.findings)


def test_the_trace_follows_the_stages_own_gain(rng):
    stage = make_stage("smooth-gain-hard")
    chapter = chapter_of(lambda x: stage.process(x, rate_hz=RATE_HZ, rng=rng).samples, rng, train())
    time_s, gain_db = (column(chapter, "burst_train_trace", name) for name in ("time_s", "gain_db"))
    n = np.arange(round(-0.3 * RATE_HZ), round(1.5 * RATE_HZ))
    inside = (n >= 0) & (n % round((HOLD_S + PAUSE_S) * RATE_HZ) < HOLD_S * RATE_HZ)
    tone = 10 ** (np.where(inside, HIGH, LOW) / 20) * np.cos(2 * np.pi * CARRIER_HZ / RATE_HZ * n)
    own = stage.process(tone, rate_hz=RATE_HZ, rng=rng).gain_db
    own = np.convolve(own, np.ones(12) / 12, mode="same")
    kept = (time_s > 0.16) & (time_s < 1.1)
    edge = np.minimum(time_s % 0.16, np.abs(time_s % 0.16 - HOLD_S))
    kept &= (edge > 0.003) & (time_s % 0.16 < 0.157)
    error = gain_db[kept] - np.interp(time_s[kept], n / RATE_HZ, own)
    # one phase of the carrier, and bins of up to 4 % of the time from the edge
    assert np.sqrt(np.mean(error**2)) < 0.05


def test_a_train_that_still_drifts_gives_no_number(rng):
    device = Pumping()
    device.release_s = 5.0
    device.attack_s = 0.5
    chapter = chapter_of(device, rng, train(repeats=3))
    swing = reading(chapter, "release.train_swing")
    assert isinstance(swing, Unmeasured)
    assert "drifted" in swing.reason


def test_a_recipe_without_a_train_says_which_recipe_has_one(rng):
    bursts = Bursts("b", CARRIER_HZ, 3, LOW, HIGH, 0.2, 0.1, 0.3, reference=True)
    swing = reading(chapter_of(wire, rng, bursts), "release.train_swing")
    assert isinstance(swing, Unmeasured)
    assert "standard" in swing.next
