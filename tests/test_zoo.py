"""The held-out stages' truth, against closed forms, and the judge of contradictions, against made ones."""

import json

import numpy as np
import pytest

from charprobe.stimulus.kinds.bursts import edge_phase
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from tests.benchmarks.zoo.answers import code_of
from tests.benchmarks.zoo.bursts import Burst
from tests.benchmarks.zoo.contradictions import contradictions
from tests.benchmarks.zoo.played_bursts import PlayedSet, played_sets, played_truth
from tests.benchmarks.zoo.rig import Recorder
from tests.benchmarks.zoo.stage import Output, Stage, factor
from tests.benchmarks.zoo.tones import settled
from tests.benchmarks.zoo.trace_constants import trace_constants
from tests.made_profiles import Setting, made_profile

RATE = 48_000


def test_settled_tones_of_a_square_law_have_its_second_harmonic():
    stage = Stage("square", "", lambda x, _: Output(x + 0.1 * x * x, None), warm_s=0.1)
    amplitude = 10 ** (-6 / 20)
    (found,) = settled(stage, [(997.0, -6.0)], RATE)
    np.testing.assert_allclose(found.gain_db, 0.0, atol=1e-9)
    np.testing.assert_allclose(found.harmonics_dbc[0], 20 * np.log10(0.05 * amplitude), atol=1e-6)
    assert max(found.harmonics_dbc[1:]) < -200


def test_times_of_a_gain_that_falls_and_recovers_exponentially_are_those_of_the_law():
    attack_s, release_s, late_s = 0.004, 0.06, 0.0

    def process(sound, rate_hz):
        loud = np.flatnonzero(np.abs(sound) > 0.05)
        t = np.arange(sound.size)
        rise, fall = loud[0], loud[-1] + 1
        down = -12 * (1 - np.exp(-np.maximum(t - rise, 0) / (attack_s * rate_hz)))
        up = np.exp(-np.maximum(t - fall, 0) / (release_s * rate_hz))
        gain = factor(np.where(t < fall, down, -12 * up))
        return Output(sound * gain, gain)

    stage = Stage("exponential", "", process, late_s=late_s, calm_s=1.0, trace_is_gain=True)
    leads = tuple((0, edge_phase(k, phases=5) - 2 * np.pi * 3989.0 * 0.1) for k in range(5))
    tones = Burst(-40.0, -4.0, 3989.0, 0.1, 0.3, 0.5)
    found, *_ = played_truth(stage, PlayedSet(tones, leads), np.zeros(0), RATE)
    sample = 1.2 / RATE  # phases meet the edge within a sample of each other
    assert abs(found.settled.times["t63"] - attack_s) < sample
    assert abs(found.release.times["t90"] - release_s * np.log(10)) < sample + 1e-4
    np.testing.assert_allclose(found.release.change_db, 12.0, atol=1e-3)


def test_bursts_are_asked_as_the_stimulus_plays_them():
    heard = []

    def process(sound, _):
        heard.append(sound)
        return Output(sound, None)

    stimulus = lay_out(load_recipe("quick"), rate_hz=RATE, take=0)
    sound = render(stimulus)
    (one,) = played_sets(stimulus)
    played_truth(Stage("listening", "", process, warm_s=0.1, calm_s=0.1), one, sound, RATE)
    length_s = one.burst.lead_s + one.burst.hold_s + one.burst.release_s
    until = round((length_s - 0.005) * RATE)  # where it fades out
    for begin, _ in one.leads:
        played = sound[begin : begin + until]
        asked = [each[-round(length_s * RATE) :][:until] for each in heard if each.size > length_s * RATE]
        assert any(np.allclose(each, played, rtol=0, atol=1e-9) for each in asked if each.size == until)


DEEP_DB = -3.25


def deeper(sound):
    return factor(np.full(sound.size, DEEP_DB))


def calling(sound, _):
    return Output(sound * deeper(sound), None)


def test_what_a_law_calls_and_names_is_part_of_the_key_its_answers_are_kept_under():
    text = code_of(Stage("calling", "", calling))
    assert "def deeper(sound)" in text and "|-3.25" in text and "def factor(" in text


@pytest.mark.parametrize("second", [0.0, 0.4])
def test_constants_of_a_gain_that_waits_then_recovers_exponentially_are_those_of_the_law(second):
    hold_s, fast_s, slow_s, ahead_s = 0.02, 0.06, 0.3, 0.002

    def process(sound, rate_hz):
        loud = np.flatnonzero(np.abs(sound) > 0.05)
        t = np.arange(sound.size) / rate_hz
        u = np.maximum(t - (loud[-1] + 1) / rate_hz - hold_s, 0)
        left = (1 - second) * np.exp(-u / fast_s) + second * np.exp(-u / slow_s)
        gain = factor(np.where(t < loud[0] / rate_hz, 0.0, -12 * left))
        late = round(ahead_s * rate_hz)
        return Output(np.concatenate([np.zeros(late), sound])[: sound.size] * gain, gain)

    stage = Stage("waits", "", process, late_s=ahead_s, calm_s=2.5, trace_is_gain=True)
    leads = tuple((0, edge_phase(k, phases=5) - 2 * np.pi * 3989.0 * 0.1) for k in range(5))
    played = PlayedSet(Burst(-40.0, -4.0, 3989.0, 0.1, 0.3, 0.5), leads)
    found = trace_constants(stage, played, np.zeros(0), RATE)
    low, high = found["release.hold"]
    # counted from the edge at the output of the path, which the gain leads; a hundredth takes a hundredth of a constant
    assert low - 2 / RATE < hold_s - ahead_s < high < hold_s - ahead_s + 0.02 * fast_s
    np.testing.assert_allclose(found["attack.lookahead"], ahead_s, atol=2 / RATE)
    assert found["release.stages"] == ((2.0, 2.0) if second else (1.0, 1.0))
    np.testing.assert_allclose(
        found["release.tau_1"], fast_s, rtol=0.01
    )  # a thirtieth of the change rounded by phases
    if second:
        np.testing.assert_allclose(found["release.tau_2"], slow_s, rtol=0.01)
        np.testing.assert_allclose(
            found["release.tau_1_share"], 60.0, atol=2.0
        )  # counted from where a hundredth is done


def test_the_recorder_moves_a_tone_by_its_delay_and_clock_and_nothing_else():
    n = np.arange(RATE)
    tone = 0.5 * np.cos(2 * np.pi * 5003 / RATE * n)
    taken = Recorder(late=131.37, drift_ppm=60.0, noise_dbfs=-300.0).record(tone, rate_hz=RATE, seed=1)
    m = np.arange(20_000, 40_000)
    at = (m - round(0.2 * RATE) - 131.37) / (1 + 60e-6)
    np.testing.assert_allclose(
        taken[m], 0.5 * np.cos(2 * np.pi * 5003 / RATE * at), atol=1e-6
    )  # the kernel: -110 dB of side lobes


def changed(*, finding="", **quantities):
    """A profile that agrees with itself, with a sentence added and values changed."""
    profile = json.loads(made_profile(Setting("agrees")).to_json())
    steps = profile["curves"]["static"]["columns"]["gain_db"]
    quantities = {
        "static__max_reduction": profile["quantities"]["static.low_level_gain"]["value"] - min(steps)
    } | quantities
    for name, value in quantities.items():
        entry = profile["quantities"][name.replace("__", ".")]
        entry |= {"value": value, "low": value - 0.001, "high": value + 0.001}
    profile["findings"] += [finding] if finding else []
    return profile


def test_a_profile_that_agrees_with_itself_has_no_contradiction():
    assert contradictions(changed()) == []


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"finding": "Distortion stays below 0.1 % up to −2.0 dBFS."}, "but the table has"),
        ({"finding": "No colour found up to −2.0 dBFS: no harmonic above −110 dBc."}, "No colour found"),
        (
            {"release__t90": 0.5, "finding": "Release 120 ms to 63 %, one exponential in dB of 120 ms."},
            "t90/t63",
        ),
        ({"attack__t63": -0.01}, "negative"),
        ({"static__threshold": 12.0}, "outside the levels played"),
        ({"finding": "Low-pass, −3 dB at 449 kHz."}, "above half the rate"),
    ],
)
def test_what_denies_its_own_table_is_found(change, told):
    assert any(told in line for line in contradictions(changed(**change))), contradictions(
        changed(**change), ""
    )
