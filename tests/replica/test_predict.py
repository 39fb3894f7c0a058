import dataclasses

import numpy as np
import pytest

from charprobe.files.sound.sound_file import write_wav
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica
from charprobe.replica.parts import Bend, Cell, Chain, Colour, Detector, Smoothing
from charprobe.replica.predict import predict_file, predict_sound
from charprobe.replica.words import sentence, table

RATE = 48_000
WIRE = Replica(
    schema=SCHEMA, setting="Off", channel=1, rate_hz=RATE, chain=Chain(), posterior=Posterior(),
    lowest_dbfs=-60.0, highest_dbfs=0.0, highest_peak_dbfs=0.0, noise_dbfs=-110.0,
)  # fmt: skip


def with_cell(**smoothing):
    cell = Cell(Detector("envelope"), (Bend(-20.0, 0.5),), Smoothing(**smoothing))
    return dataclasses.replace(WIRE, setting="On", chain=Chain(cell=cell))


def strokes(levels_db=(-40.0, 0.0), seconds=0.5, times=4):
    """A tone that steps between levels."""
    n = np.arange(round(seconds * RATE))
    parts = [
        10 ** (level / 20) * np.sin(2 * np.pi * 2000 * n / RATE) for _ in range(times) for level in levels_db
    ]
    return np.concatenate(parts)[:, None]


def told(replica, sound, material="drums"):
    return predict_sound(replica, sound, rate_hz=RATE, material=material)


def test_a_wire_does_nothing_and_says_so():
    one = told(WIRE, strokes())
    assert (one.mean_db, one.most_db, one.crest_change_db, one.distortion_db) == (
        0.0,
        0.0,
        pytest.approx(0),
        None,
    )
    assert "does not reduce drums" in sentence(one)


def test_reduction_is_that_of_the_steps():
    one = told(with_cell(attack_s=0.001, release_s=0.05), strokes())
    assert one.most_db == pytest.approx(10.0, abs=0.05)  # 20 dB over at 2:1
    assert one.mean_db == pytest.approx(5.0, abs=0.5)  # half of the time, and 50 ms of release
    assert one.swing_db == pytest.approx(10.0, abs=0.1)
    assert one.let_go_s == pytest.approx(0.5 + 0.05 * np.log(2), abs=0.005)
    assert one.loudness_change_lu == pytest.approx(-10.0, abs=0.3)


def test_a_slow_attack_lets_the_stroke_through_and_a_quick_one_does_not():
    slow, quick = (told(with_cell(attack_s=attack, release_s=0.05), strokes()) for attack in (0.03, 0.0002))

    def through(attack_s):
        gain = 10 ** (np.exp(-np.arange(0, 0.110, 1e-6) / attack_s) - 1)  # 10 dB of reduction, as a power
        return 10 * np.log10(np.mean(gain[:10_000]) / np.mean(gain[60_000:]))

    # the detector ripples at the edge, and the first cell begins up to 1 ms ahead of it
    assert slow.attack_through_db == pytest.approx(through(0.03), abs=0.3)
    assert quick.attack_through_db == pytest.approx(through(0.0002), abs=0.8)
    assert "slow on attacks" in sentence(slow) and "quick" in sentence(quick)


def test_attacks_that_find_the_reduction_up_tell_no_pace():
    held = told(with_cell(attack_s=0.02, release_s=20.0), strokes())
    assert held.most_db > 5 and held.attack_through_db is None
    assert not any(word in sentence(held) for word in ("quick", "slow"))


def test_a_replica_that_does_not_stand_makes_a_guess():
    poor = dataclasses.replace(WIRE, proofs=(Proof("speech", -18.0, 1.2, 0.5),))
    assert told(poor, strokes()).poor and not told(WIRE, strokes()).poor


def test_colour_is_told_at_the_size_of_its_closed_form():
    sizes = np.linspace(0.05, 1.0, 20)
    colour = Colour(
        amplitude=tuple(sizes.tolist()),
        odd_db=tuple((20 * np.log10(1 - 0.3 * sizes**2)).tolist()),
        even_db=(0.0,) * 20,
    )
    one = told(dataclasses.replace(WIRE, chain=Chain(colour=colour)), strokes((0.0,)))
    third = 20 * np.log10(0.1 / 4 / (1 - 0.1 * 3 / 4))  # x - 0.1 x^3
    assert one.distortion_db == pytest.approx(third, abs=0.05)


def test_a_file_is_told_at_its_own_level_and_rate(tmp_path):
    write_wav(tmp_path / "My take.wav", strokes()[::2], rate_hz=RATE // 2, subtype="float32", force=False)
    one = predict_file(with_cell(attack_s=0.001, release_s=0.05), tmp_path / "My take.wav")
    assert one.material == "My take.wav" and one.most_db == pytest.approx(10.0, abs=0.05)
    assert one.other_rate and "a guess: a plug-in may answer otherwise" in sentence(one)
    same = dataclasses.replace(with_cell(attack_s=0.001, release_s=0.05), rate_hz=RATE // 2)
    assert not predict_file(same, tmp_path / "My take.wav").other_rate


def test_what_lies_above_the_measured_levels_is_called_a_guess():
    low = dataclasses.replace(with_cell(attack_s=0.001, release_s=0.05), highest_peak_dbfs=-12.0)
    assert "a guess" in sentence(told(low, strokes()))


def test_the_table_holds_a_row_each_and_a_dash_where_there_is_nothing():
    lines = table([told(WIRE, strokes((0.0,)))]).splitlines()
    assert (
        len(lines) == 2 and lines[1].endswith("–") and lines[0].split()[:3] == ["setting", "material", "peak"]
    )
