import json

import numpy as np
import pytest
import soundfile
from commands import RATE, altered, good, refused, run

from charprobe.profile.profile import load_profile
from charprobe.simulation.devices.catalogue import make_stage


def test_a_measurement_names_the_setting_and_gives_the_truth(profiles):
    profile = load_profile(profiles[0])
    assert profile.setting == "on"
    # the closed form of the stage: threshold -24 dBFS, ratio 4
    assert profile.quantities["static.threshold"].reading.value == pytest.approx(-24, abs=0.1)
    assert profile.quantities["static.slope"].reading.value == pytest.approx(0.25, abs=0.003)


def test_a_plain_wire_has_no_ratio_and_no_attack(profiles):
    profile = load_profile(profiles[1])
    for name in ("static.ratio", "attack.t63", "release.t63"):
        assert profile.quantities[name].reading.reason


def test_that_a_file_holds_other_channels_is_told(steps, tmp_path):
    sound, rate_hz = soundfile.read(steps / "off.wav")
    soundfile.write(tmp_path / "two.wav", np.stack([sound, sound], 1), rate_hz, subtype="PCM_24")
    given = ("--stimulus", steps / "s.wav", "--channel", 2, "--out", tmp_path / "p.json")
    assert "Channel 2 of 2" in good("measure", tmp_path / "two.wav", *given).stderr
    assert (
        "Channel" not in good("measure", steps / "off.wav", *given[:2], "--out", tmp_path / "q.json").stderr
    )


def test_measure_json_is_the_profile(steps, tmp_path):
    given = ("--stimulus", steps / "s.wav")
    result = good("measure", steps / "off.wav", *given, "--out", tmp_path / "p.json", "--json")
    assert json.loads(result.stdout)["schema"] == "charprobe.profile/1"


def test_voltmeter_readings_put_dbu_beside_the_levels_that_are_shown(steps, tmp_path):
    volts = [0.775 * 10 ** ((dbfs + 18) / 20) for dbfs in (-20, -10)]  # 0 dBFS is +18 dBu
    rows = zip((-20, -10), volts, strict=True)
    text = "".join(f"[[reading]]\ndbfs = {dbfs}\nvolts = {volt:.6f}\n" for dbfs, volt in rows)
    (tmp_path / "volts.toml").write_text(text, encoding="utf-8")
    given = ("--stimulus", steps / "s.wav", "--bypass", steps / "off.wav")
    good(
        "measure", steps / "on.wav", *given, "--volts", tmp_path / "volts.toml", "--out", tmp_path / "p.json"
    )
    threshold = load_profile(tmp_path / "p.json").quantities["static.threshold"]
    dbu = f"{threshold.reading.value + 18:+.1f} dBu".replace("-", "−").lstrip("+")
    assert dbu in threshold.conditions
    assert f"= {dbu}" in good("show", tmp_path / "p.json").stdout
    (tmp_path / "bad.toml").write_text(text.replace(f"{volts[1]:.6f}", "9.9"), encoding="utf-8")
    good("measure", steps / "on.wav", *given, "--volts", tmp_path / "bad.toml", "--out", tmp_path / "q.json")
    told = good("show", tmp_path / "q.json").stdout
    assert "volts-misfit" in told and "= −" not in told


def test_check_says_keep_and_where_the_stimulus_lies(bench):
    assert good("check", bench / "on.wav").stdout.startswith("KEEP")
    verdict = json.loads(good("check", bench / "on.wav", "--json").stdout)
    assert verdict["verdict"] == "keep"
    assert verdict["drift_ppm"] == pytest.approx(15, abs=0.2)


def test_one_command_misused_exits_2(bench, tmp_path):
    assert run("measure", bench / "on.wav").exit_code == 2
    assert run("compare", bench / "on.json", "--out", tmp_path / "x").exit_code == 2
    assert run("nonsense").exit_code == 2


BAD_SOUND = {
    "not audio": (lambda path: path.write_text("this is a letter\n" * 100), "holds no sound"),
    "empty": (lambda path: path.write_bytes(b""), "0 bytes"),
    "missing": (lambda path: None, "no such file"),
    "silent": (lambda path: soundfile.write(path, np.zeros(RATE), RATE), "silence"),
    "noise": (
        lambda path: soundfile.write(path, np.random.default_rng(1).normal(0, 1e-4, 5 * RATE), RATE),
        "only noise at −76.9 dBFS, the stimulus is not found",  # 20 lg 1e-4 re a sine of full scale
    ),
    "other sound": (
        lambda path: soundfile.write(path, 0.3 * np.sin(np.arange(5 * RATE) * 0.05), RATE),
        "sound present, but not the stimulus 'quick'",
    ),
}


@pytest.mark.parametrize("kind", BAD_SOUND)
@pytest.mark.parametrize("command", ["measure", "check"])
def test_bad_sound_gets_one_message_and_leaves_nothing(bench, tmp_path, kind, command):
    make, says = BAD_SOUND[kind]
    path = tmp_path / "bad.wav"
    make(path)
    out = ("--out", tmp_path / "p.json") if command == "measure" else ()
    refused(run(command, path, "--stimulus", bench / "s.json", *out), says=says)
    assert not (tmp_path / "p.json").exists()


def test_a_truncated_capture_gives_what_it_holds(bench, tmp_path):
    path = altered(bench, tmp_path, lambda x: x[: int(0.7 * x.size)])
    good("measure", path, "--bypass", bench / "off.wav", "--out", tmp_path / "p.json")
    profile = load_profile(tmp_path / "p.json")
    assert "truncated" in {item.code for item in profile.health}
    assert profile.quantities["static.threshold"].reading.value == pytest.approx(-24, abs=0.1)
    assert profile.quantities["attack.t63"].reading.reason


def test_another_rate_than_the_stimulus_is_said(bench, tmp_path):
    path = altered(bench, tmp_path, lambda x: x, rate=44_100)
    refused(run("measure", path, "--stimulus", bench / "s.json", "--out", tmp_path / "p.json"), says="48 kHz")


@pytest.mark.parametrize(("value", "seconds"), [(np.nan, 0.0), (np.inf, 0.1), (3e37, 0.1)])
def test_samples_that_are_no_numbers_withhold_their_segment_only(bench, tmp_path, value, seconds):
    def spoil(samples):
        samples[int(22.5 * RATE) : int((22.5 + seconds) * RATE) + 1] = value  # in the bursts
        return samples

    path = altered(bench, tmp_path, spoil, subtype="FLOAT")
    good("measure", path, "--bypass", bench / "off.wav", "--out", tmp_path / "p.json")
    profile = load_profile(tmp_path / "p.json")
    assert "non-finite" in {item.code for item in profile.health}
    assert profile.quantities["static.threshold"].reading.value == pytest.approx(-24, abs=0.1)
    assert profile.quantities["attack.t63"].reading.reason


def test_clipping_is_told_with_its_time(bench, tmp_path):
    path = altered(bench, tmp_path, lambda x: np.clip(4 * x, -1, 1 - 2**-23))
    result = run("check", path)
    assert result.exit_code == 1
    assert "RETAKE" in result.stdout and "clipped" in result.stdout


def test_one_fault_at_many_places_is_told_once(bench, tmp_path):
    path = altered(bench, tmp_path, lambda x: np.clip(4 * x, -1, 1 - 2**-23))
    found = json.loads(run("check", path, "--json").stdout)["health"]
    assert [item["channel"] for item in found if item["code"] == "clipped"] == [1]
    text = " ".join(run("check", path).stdout.split())
    assert text.count("Recorder clipped") == 1
    assert "Again at 0:00:" in text and ", until 0:" in text


def test_clipped_tones_give_no_numbers_and_cost_the_others_none(bench, profiles, tmp_path):
    loud = 10 ** (17.5 / 20)  # the bursts and the upper steps reach the ceiling
    path = altered(bench, tmp_path, lambda x: np.clip(loud * x, -1, 1 - 2**-23))
    good("measure", path, "--bypass", bench / "off.wav", "--out", tmp_path / "p.json")
    spoiled, sound = load_profile(tmp_path / "p.json"), load_profile(profiles[0])
    assert "clipped" in {item.code for item in spoiled.health}
    tables = [profile.curves["static"].columns for profile in (spoiled, sound)]
    assert 10 < len(tables[0]["input_dbfs"]) < len(tables[1]["input_dbfs"])
    truth = make_stage("smooth-gain-hard").static_gain_db(np.array(tables[0]["input_dbfs"]))
    settled = np.array(tables[0]["settled"], dtype=bool)
    assert settled.sum() > 20
    error_db = np.array(tables[0]["gain_db"]) - truth - 17.5
    assert np.abs(error_db[settled]).max() < 0.01  # the goal for settled points
    assert max(spoiled.curves["harmonics"].columns["fundamental_dbfs"]) < 0
    assert "spoiled" in spoiled.quantities["attack.t63"].reading.reason
    for name in ("static.threshold", "static.slope"):
        assert spoiled.quantities[name].reading.value == pytest.approx(
            sound.quantities[name].reading.value, abs=0.003
        )


def test_without_a_bypass_what_needs_it_says_so(steps, tmp_path):
    good("measure", steps / "on.wav", "--stimulus", steps / "s.wav", "--out", tmp_path / "p.json")
    profile = load_profile(tmp_path / "p.json")
    assert "bypass" in profile.quantities["static.makeup_gain"].reading.reason
    assert profile.quantities["static.slope"].reading.value == pytest.approx(0.25, abs=0.003)


def test_an_existing_profile_is_kept_unless_forced(steps, tmp_path):
    out, given = tmp_path / "p.json", ("--stimulus", steps / "s.wav")
    out.write_text("mine")
    refused(run("measure", steps / "on.wav", *given, "--out", out), says="--force")
    assert out.read_text() == "mine"
    good("measure", steps / "on.wav", *given, "--out", out, "--force")
    assert load_profile(out).setting == "on"


def test_a_folder_that_takes_no_files_is_noticed_before_the_work(bench, tmp_path, locked_folder):
    capture = bench / "on.wav"
    refused(run("measure", capture, "--out", tmp_path / "none" / "p.json"), says="no such folder: create it")
    refused(run("measure", capture, "--out", capture / "p.json"), says="no such folder: create it")
    with locked_folder() as folder:
        refused(run("measure", capture, "--out", folder / "p.json"), says="cannot write here (read-only)")


def test_a_channel_that_is_not_there_is_refused(bench, tmp_path):
    refused(run("measure", bench / "on.wav", "--channel", 3, "--out", tmp_path / "p.json"), says="1 channel")


def test_strict_turns_warnings_into_exit_1(steps, tmp_path):
    path = altered(steps, tmp_path, lambda x: x[: int(0.7 * x.size)])
    given = ("--stimulus", steps / "s.wav", "--strict")
    assert run("measure", path, *given, "--out", tmp_path / "p.json").exit_code == 1
    assert (tmp_path / "p.json").exists()


def test_a_file_that_was_never_finished_is_repaired_into_a_copy_and_judged(bench, tmp_path):
    raw = bytearray((bench / "on.wav").read_bytes())
    at = raw.index(b"data") + 4
    raw[at : at + 4] = bytes(4)
    broken, copy = tmp_path / "broken.wav", tmp_path / "copy.wav"
    broken.write_bytes(raw)
    refused(run("check", broken), says="--repair COPY.wav")
    judged = good("check", broken, "--repair", copy)
    assert "KEEP" in judged.stdout
    assert "was not changed" in judged.stderr
    assert broken.read_bytes() == raw
    np.testing.assert_array_equal(soundfile.read(copy)[0], soundfile.read(bench / "on.wav")[0])
    refused(run("check", broken, "--repair", copy), says="--force")
