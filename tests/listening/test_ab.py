import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.stimulus.kinds.material import generate

RATE_HZ = 48_000


def sound(seed):
    return generate("music", seconds=6.0, rate_hz=RATE_HZ, rng=np.random.default_rng(seed))


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder, dry = tmp_path_factory.mktemp("ab"), sound(4)
    made = {
        "dry": dry,
        "wet": 0.5 * np.concatenate([np.zeros(100), dry]),
        "other": sound(5),
        "silent": 0 * dry,
    }
    for name, samples in made.items():
        soundfile.write(folder / f"{name}.wav", samples, RATE_HZ, subtype="PCM_24")
    soundfile.write(folder / "slow.wav", dry, 44_100, subtype="PCM_24")
    soundfile.write(folder / "short.wav", dry[:9000], RATE_HZ, subtype="PCM_24")
    return folder


def run(files, processed, out, *more):
    dry = str(files / "dry.wav")
    return CliRunner().invoke(main, ["ab", dry, str(files / f"{processed}.wav"), "--out", str(out), *more])


def test_writes_a_matched_pair_and_never_over_it_unasked(files, tmp_path):
    result = run(files, "wet", tmp_path / "o", "--json")
    assert result.exit_code == 0, result.output
    found = json.loads((tmp_path / "o" / "pair.json").read_text(encoding="utf-8"))
    assert abs(found["delay_frames"]["value"] - 100) < 0.02  # the stated goal
    assert abs(found["match"]["after_db"]["loudness"]) <= 0.02
    assert abs(found["difference"]["gain_db"] - 20 * np.log10(0.5)) < 1e-3
    assert found["difference"]["steps"][3]["depth_db"] < -80
    names = sorted(path.name for path in (tmp_path / "o").iterdir())
    assert names == ["difference.wav", "dry.wav", "gain.csv", "pair.json", "processed.wav"]
    assert run(files, "wet", tmp_path / "o").exit_code == 1


@pytest.mark.parametrize(
    ("processed", "message"),
    [
        ("other", "do not hold the same sound"),
        ("silent", "digital silence"),
        ("slow", "44100 Hz"),
        ("short", "at least 0.5 s"),
    ],
)
def test_bad_input_is_one_message_and_leaves_nothing(files, tmp_path, processed, message):
    result = run(files, processed, tmp_path / "o")
    assert result.exit_code == 1
    assert message in result.output
    assert list((tmp_path / "o").iterdir()) == []


def test_a_mixed_in_dry_path_is_refused_unless_it_is_meant(files, tmp_path):
    dry, rate_hz = soundfile.read(files / "dry.wav")
    wet, _ = soundfile.read(files / "wet.wav")
    count = min(dry.shape[0], wet.shape[0]) - 400
    mixed = wet[400 : 400 + count] + 0.4 * dry[204 + 0 : 204 + count]
    soundfile.write(files / "mixed.wav", mixed, rate_hz, subtype="FLOAT")
    result = run(files, "mixed", tmp_path / "o")
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    assert "mixed.wav: Holds the dry sound twice: a second copy" in text
    assert "Nothing was written" in text
    assert list((tmp_path / "o").iterdir()) == []
    meant = run(files, "mixed", tmp_path / "o", "--second-path-as-meant", "--json")
    assert meant.exit_code == 0, meant.output
    notes = json.loads(meant.stdout)["notes"]
    assert any("Holds the dry sound twice" in note for note in notes)


@pytest.mark.parametrize(("faster", "rate_hz"), [("processed", 96_000), ("dry", 48_000)])
def test_files_of_two_rates_are_brought_together_when_asked(tmp_path, faster, rate_hz):
    """The same sound at both rates: zeros beyond the bins of its FFT."""
    slow_hz = rate_hz // 2
    dry = 0.5 * generate("speech", seconds=6.0, rate_hz=48_000, rng=np.random.default_rng(4))[: 6 * 24_000]
    spectrum = np.fft.rfft(dry)
    spectrum[int(0.85 * spectrum.size) :] = 0.0  # what no converter need pass
    slow = np.fft.irfft(spectrum, dry.size)
    fast = 2 * np.fft.irfft(spectrum, 2 * dry.size)
    rates = {"processed": (slow_hz, rate_hz), "dry": (rate_hz, slow_hz)}[faster]
    sounds = {"processed": (slow, 0.5 * fast), "dry": (fast, 0.5 * slow)}[faster]
    for name, samples, hz in zip(("dry", "wet"), sounds, rates, strict=True):
        soundfile.write(tmp_path / f"{name}.wav", samples, hz, subtype="PCM_24")
    refused = run(tmp_path, "wet", tmp_path / "o")
    assert refused.exit_code == 1
    assert "--convert-rate" in refused.output
    result = run(tmp_path, "wet", tmp_path / "o", "--convert-rate", "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    assert abs(found["delay_frames"]["value"]) < 0.02  # the stated goal
    assert found["difference"]["steps"][3]["depth_db"] < -80  # the stated goal
    assert found["notes"][0].startswith(f"The {faster} file was converted from {rate_hz} to {slow_hz} Hz")
    assert soundfile.info(tmp_path / "o" / "dry.wav").samplerate == slow_hz


def test_the_files_read_are_never_replaced(files):
    before = (files / "dry.wav").read_bytes()
    result = run(files, "wet", files, "--force")
    assert result.exit_code == 1
    assert "is one of the files read here" in result.output
    assert (files / "dry.wav").read_bytes() == before
