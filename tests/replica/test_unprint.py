import dataclasses
import errno
import shutil

import numpy as np
import pytest

from charprobe.files.sound.sound_file import open_capture, write_wav
from charprobe.replica.chain import play_take
from charprobe.replica.flat import value_at, with_values
from charprobe.replica.lost import Lost
from charprobe.replica.model import SCHEMA, Posterior, Proof, Replica
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing
from charprobe.replica.unprint import unprint
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.material import generate
from charprobe.values.errors import OutputError, ReplicaError
from tests.simulation.drawn import build_compressor

RATE = 48_000
PLACES = (
    "cell.bends.0.threshold_dbfs",
    "cell.bends.0.slope",
    "cell.smoothing.attack_s",
    "cell.smoothing.release_s",
)
STD = np.array([0.003, 0.0003, 0.001, 0.002])
CHAIN = Chain(
    cell=Cell(
        Detector("mean", 2.0, 0.002, 0.002),
        (Bend(-24.0, 0.75, 4.0),),
        Smoothing(attack_s=0.005, release_s=0.12),
        makeup_db=3.0,
    )
)


def replica_of(chain, **changes):
    known = Posterior(PLACES, (False, False, True, True), tuple(map(tuple, np.diag(STD**2).tolist())))
    plain = Replica(
        schema=SCHEMA, setting="Vocal", channel=1, rate_hz=RATE, chain=chain, posterior=known, lowest_dbfs=-60.0,
        highest_dbfs=0.0, highest_peak_dbfs=0.0, noise_dbfs=-110.0,
    )  # fmt: skip
    return dataclasses.replace(plain, **changes)


REPLICA = replica_of(CHAIN)
SOUND = generate("music", seconds=3.0, rate_hz=RATE, rng=np.random.default_rng(3))


@pytest.fixture
def taken(tmp_path, rng):
    """Sound printed by a chain, with noise at -110 dBFS; its path."""

    def make(sound, chain=CHAIN, rate_hz=RATE):
        out = play_take(chain, sound, rate_hz=rate_hz).sound
        out = out + 10 ** (-110 / 20) / np.sqrt(2) * rng.standard_normal(out.shape)
        path = tmp_path / "printed.wav"
        write_wav(path, out, rate_hz=rate_hz, subtype="float32", force=True)
        return path

    return make


def error_db(path, sound):
    found = open_capture(path).read_frames(0, len(sound))[:, 0]
    return 10 * np.log10(np.sum((found - sound) ** 2) / np.sum(sound**2))


def test_the_right_numbers_leave_little_more_than_the_noise(taken, tmp_path):
    exact = replica_of(CHAIN, posterior=Posterior(), proofs=(Proof("speech", -100.0, 0.0, 1.0),))
    made = unprint(exact, taken(SOUND), tmp_path / "dry.wav")
    assert (
        error_db(tmp_path / "dry.wav", SOUND) < -85
    )  # noise 110 dB down, music 20 dB, reduction up to 13 dB
    assert made.bound_db > error_db(tmp_path / "dry.wav", SOUND)
    assert not any("was captured at" in note for note in made.notes)  # at the rate of the take
    assert made.printed_db > -20 and made.most_reduction_db > 8


def test_the_bound_holds_what_slightly_wrong_numbers_do(taken, tmp_path, rng):
    printed, held, windows = taken(SOUND), 0, 0
    cells = (SOUND[: 12 * 12_000] ** 2).reshape(-1, 12_000).sum(axis=1)
    for k in range(4):
        row = STD * rng.standard_normal(4)
        centre = [value_at(CHAIN, place) for place in PLACES]
        off = [centre[0] + row[0], centre[1] + row[1], *(np.array(centre[2:]) * np.exp(row[2:])).tolist()]
        made = unprint(replica_of(with_values(CHAIN, PLACES, off)), printed, tmp_path / f"{k}.wav")
        found = open_capture(tmp_path / f"{k}.wav").read_frames(0, SOUND.size)[:, 0]
        errors = ((found - SOUND) ** 2)[: 12 * 12_000].reshape(-1, 12_000).sum(axis=1)
        held += np.count_nonzero(10 * np.log10(errors / cells) <= made.over_time_db[:12])
        windows += 12
        assert made.error_db < -40
    assert held >= 0.85 * windows  # 95 % of 4 draws whose windows go together


def test_a_reference_stage_of_other_code_is_taken_back(tmp_path, rng):
    stage = make_stage("feedforward-rms-hard")
    out = stage.process(SOUND, rate_hz=RATE, rng=rng).samples
    write_wav(tmp_path / "p.wav", out, rate_hz=RATE, subtype="float32", force=True)
    cell = Cell(Detector("mean", 2.0), (Bend(-30.0, 0.5),), Smoothing("level", attack_s=0.03, release_s=0.03), makeup_db=6.0)  # fmt: skip
    unprint(replica_of(Chain(cell=cell)), tmp_path / "p.wav", tmp_path / "dry.wav")
    assert error_db(tmp_path / "dry.wav", SOUND) < -100  # rounding to 32-bit floats


def test_two_linked_channels_at_another_rate_come_back(taken, tmp_path):
    sound = generate("speech", seconds=2.0, rate_hz=44_100, rng=np.random.default_rng(5))
    both = np.stack([sound, 0.3 * np.roll(sound, 4000)], axis=1)
    chain = dataclasses.replace(CHAIN, cell=dataclasses.replace(CHAIN.cell, link=1.0))
    made = unprint(replica_of(chain), taken(both, chain, 44_100), tmp_path / "dry.wav")
    assert any("44100 Hz, the setting was captured at 48000 Hz" in note for note in made.notes)
    found = open_capture(tmp_path / "dry.wav").read_frames(0, len(both))
    assert np.linalg.norm(found - both) < 10 ** (-80 / 20) * np.linalg.norm(both)


def test_a_take_that_was_never_printed_is_refused(tmp_path):
    write_wav(tmp_path / "p.wav", SOUND, rate_hz=RATE, subtype="pcm24", force=True)
    with pytest.raises(ReplicaError, match=r"does not come back through the setting 'Vocal'.* A dry take"):
        unprint(REPLICA, tmp_path / "p.wav", tmp_path / "dry.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["p.wav"]


def test_what_would_not_beat_the_printed_take_is_refused_with_the_figure(taken, tmp_path):
    poor = replica_of(CHAIN, proofs=(Proof("speech", -15.0, 1.0, 0.9),))
    with pytest.raises(ReplicaError, match=r"off by about −\d+\.\d dB; 10 dB between"):
        unprint(poor, taken(SOUND), tmp_path / "dry.wav")
    with pytest.raises(ReplicaError, match=r"reduced by 0\.0 dB at most"):  # too quiet: nothing to take back
        unprint(REPLICA, taken(1e-3 * SOUND), tmp_path / "dry.wav")
    assert not (tmp_path / "dry.wav").exists()


def test_a_replica_that_knows_nothing_of_its_error_is_refused(taken, tmp_path):
    with pytest.raises(ReplicaError, match="--prove"):
        unprint(replica_of(CHAIN, posterior=Posterior()), taken(SOUND), tmp_path / "dry.wav")


def test_clipped_tops_are_listed_and_left_as_printed(taken, tmp_path):
    printed = taken(SOUND)
    sound = open_capture(printed).read_frames(0, SOUND.size)
    start = int(np.argmax(np.abs(sound))) - 5
    sound[start : start + 10] = np.abs(sound).max()
    write_wav(printed, sound, rate_hz=RATE, subtype="float32", force=True)
    made = unprint(REPLICA, printed, tmp_path / "dry.wav")
    (one,) = [one for one in made.stretches if one.reason == "clipped"]
    assert one.start_s <= start / RATE <= one.end_s
    assert "Left as printed, clipped" in made.text()


def test_the_printed_file_is_never_written_over(taken):
    printed = taken(SOUND[:4800])
    before = printed.read_bytes()
    with pytest.raises(OutputError, match="read here"):
        unprint(REPLICA, printed, printed, force=True)
    assert printed.read_bytes() == before


def test_silence_and_what_is_no_number_are_refused(tmp_path):
    for fault, says in ((0.0, "silent"), (np.nan, "no numbers")):
        path = tmp_path / f"{says}.wav"
        values = np.zeros(4800, dtype="<f4") + np.float32(fault)
        write_wav(path, np.zeros(4800), rate_hz=RATE, subtype="float32", force=True)
        raw = path.read_bytes()
        path.write_bytes(raw[: len(raw) - values.nbytes] + values.tobytes())
        with pytest.raises(ReplicaError, match=says):
            unprint(REPLICA, path, tmp_path / "dry.wav")


def test_quiet_cells_are_told_as_below_the_noise():
    lost = Lost(REPLICA, rate_hz=RATE, noise=1e-3)
    sound = np.r_[np.full(4800, 1e-4), 0.1 * np.sin(np.arange(4800))][:, None]
    lost.printed(sound)
    lost.heard(type("P", (), {"lost": np.zeros(sound.shape, dtype=bool)}))
    result, as_printed = lost.mended(np.ones_like(sound))
    (one,) = lost.stretches()
    assert (one.reason, one.start_s, one.end_s) == ("below the noise", 0.0, pytest.approx(0.1))
    np.testing.assert_allclose(result[:4000], as_printed[:4000])
    np.testing.assert_allclose(result[-4000:], 1.0)


def test_a_stopped_walk_and_a_full_disk_leave_nothing(taken, tmp_path, monkeypatch):
    printed = taken(SOUND[:RATE])

    def stopped(self, passed):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Lost, "heard", stopped)
        with pytest.raises(KeyboardInterrupt):
            unprint(REPLICA, printed, tmp_path / "dry.wav")
    with monkeypatch.context() as patch:
        patch.setattr("shutil.disk_usage", lambda folder: shutil._ntuple_diskusage(1000, 900, 100))
        with pytest.raises(OutputError, match="make room"):
            unprint(REPLICA, printed, tmp_path / "dry.wav")
    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        with pytest.raises(OutputError):
            unprint(REPLICA, printed, tmp_path / "dry.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["printed.wav"]


def full(_):
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_setting_that_looks_ahead_is_refused_with_the_reason(taken, tmp_path):
    ahead = dataclasses.replace(CHAIN, cell=dataclasses.replace(CHAIN.cell, lookahead_s=0.002))
    with pytest.raises(ReplicaError, match="looks ahead: its gain depends on sound"):
        unprint(replica_of(ahead), taken(SOUND[:RATE], ahead), tmp_path / "dry.wav")
    assert not (tmp_path / "dry.wav").exists()


def test_peaks_above_all_that_was_measured_are_told(taken, tmp_path):
    loud = SOUND * 10 ** (-3 / 20) / np.abs(SOUND).max()
    measured = replica_of(CHAIN, highest_peak_dbfs=-1.5)
    printed = taken(loud)
    assert not any("above all" in note for note in unprint(measured, printed, tmp_path / "a.wav").notes)
    other = with_values(CHAIN, ("cell.makeup_db",), (2.0,))  # 1 dB less make-up: up to 4 dB more on top
    made = unprint(replica_of(other, highest_peak_dbfs=-1.5), printed, tmp_path / "b.wav")
    assert any("above all that the setting was measured with" in note for note in made.notes)


def test_a_take_cut_from_the_middle_says_that_its_beginning_is_not_known(taken, tmp_path):
    exact = replica_of(CHAIN, posterior=Posterior(), proofs=(Proof("speech", -100.0, 0.0, 1.0),))
    burst = SOUND * np.where(
        np.arange(SOUND.size) // (RATE // 2) == 2, 0.1, 1.0
    )  # half a second soft, amid loud
    whole, first = open_capture(taken(burst)).read_frames(0, burst.size), RATE + 480
    write_wav(tmp_path / "cut.wav", whole[first:, 0], rate_hz=RATE, subtype="float32", force=True)
    made = unprint(exact, tmp_path / "cut.wav", tmp_path / "dry.wav")
    off = open_capture(tmp_path / "dry.wav").read_frames(0, RATE // 4)[:, 0] - burst[first:][: RATE // 4]
    assert 20 * np.log10(np.std(off) / np.std(burst[first:][: RATE // 4])) > made.over_time_db[0] + 20
    assert any("taken to have been at rest" in note for note in made.notes)
    quiet = unprint(exact, taken(np.append(np.zeros(RATE), SOUND)), tmp_path / "dry.wav", force=True)
    assert not any("taken to have been at rest" in note for note in quiet.notes)


def test_steady_tones_tell_another_setting_and_a_take_that_was_never_printed(tmp_path, rng):
    sound = generate("plucked", seconds=8.0, rate_hz=RATE, rng=np.random.default_rng(1))
    stage = build_compressor(
        threshold_dbfs=-24.0, ratio=4.0, knee_db=4.0, attack_s=0.005, release_s=0.12, makeup_db=3.0,
        detector="peak",
    )  # fmt: skip
    chain, out = Chain(cell=dataclasses.replace(CHAIN.cell, detector=Detector("peak"))), tmp_path / "dry.wav"
    for name, printed in (
        ("p.wav", stage.process(sound, rate_hz=RATE, rng=rng).samples),
        ("never.wav", 0.6 * sound),
    ):
        write_wav(tmp_path / name, printed, rate_hz=RATE, subtype="float32", force=True)
    assert "Its tones do not speak against it" in unprint(replica_of(chain), tmp_path / "p.wav", out).text()
    other = with_values(chain, ["cell.bends.0.slope"], [0.5])
    with pytest.raises(ReplicaError, match=r"move with the gain, .* more was taken than this replica gives"):
        unprint(replica_of(other), tmp_path / "p.wav", out, force=True)
    close = with_values(chain, ["cell.bends.0.slope"], [0.85])
    made = unprint(replica_of(close), tmp_path / "p.wav", out, force=True)
    assert "It was not, as far as the take tells" in made.text() and "less was taken" in made.text()
    with pytest.raises(ReplicaError, match=r"move against the gain, .* less was taken"):
        unprint(replica_of(chain), tmp_path / "never.wav", out, force=True)


def test_noise_that_was_turned_down_more_than_the_replica_gives_back_tells_another_setting(tmp_path, rng):
    sound = generate("speech", seconds=8.0, rate_hz=RATE, rng=np.random.default_rng(1))
    sound += (
        10 ** (-80 / 20) / np.sqrt(2) * rng.standard_normal(sound.size)
    )  # of a microphone, ahead of the stage
    stage = build_compressor(
        threshold_dbfs=-24.0,
        ratio=4.0,
        knee_db=4.0,
        attack_s=0.005,
        release_s=0.12,
        makeup_db=3.0,
        detector="peak",
    )
    write_wav(
        tmp_path / "p.wav",
        stage.process(sound, rate_hz=RATE, rng=rng).samples,
        rate_hz=RATE,
        subtype="float32",
        force=True,
    )
    chain = Chain(cell=dataclasses.replace(CHAIN.cell, detector=Detector("peak")))
    made = unprint(replica_of(chain), tmp_path / "p.wav", tmp_path / "dry.wav")
    assert error_db(tmp_path / "dry.wav", sound) < -60
    assert any("nothing speaks for a setting that takes more" in note for note in made.notes)
    for place, value in (
        ("cell.bends.0.threshold_dbfs", -21.0),
        ("cell.bends.0.slope", 0.5),
        ("cell.makeup_db", 9.0),
    ):
        with pytest.raises(ReplicaError, match=r"would lie \d\.\d dB lower where the dry take is loud"):
            unprint(replica_of(with_values(chain, [place], [value])), tmp_path / "p.wav", tmp_path / "no.wav")


def test_a_setting_that_over_compresses_says_why_its_take_does_not_come_back(taken, tmp_path):
    over = with_values(CHAIN, ("cell.bends.0.slope", "cell.bends.0.threshold_dbfs"), (1.4, -30.0))
    with pytest.raises(ReplicaError, match="one printed level stands for two dry ones"):
        unprint(replica_of(over), taken(SOUND, over), tmp_path / "dry.wav")
