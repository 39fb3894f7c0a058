import hashlib
import json

import numpy as np
import pytest
import soundfile

from charprobe.files.sound.sound_file import write_wav
from charprobe.listening.blind.key import BlindError, read_key, seal_of
from charprobe.listening.blind.pages import PAGE, make_pack
from charprobe.listening.blind.score import score
from charprobe.values.errors import OutputError

RATE_HZ = 8_000  # the packs are many, and nothing in them is listened to


@pytest.fixture
def pair(tmp_path, rng):
    folder = tmp_path / "pair"
    folder.mkdir()
    dry = 0.05 * rng.standard_normal((3 * RATE_HZ, 2))
    dry[2 * RATE_HZ :] *= 3
    for name, samples in (("dry", dry), ("processed", np.tanh(3 * dry) / 3)):
        write_wav(folder / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    return folder


def made(pair, tmp_path, rng, **changes):
    options = {"trials": 16, "controls": 2, "start_s": None, "length_s": 1.0, "force": False} | changes
    return make_pack(pair, tmp_path / "pack", key_path=tmp_path / "key.json", rng=rng, **options)


def answered(pack, tmp_path, right, /, **changes):
    """Result file with so many right answers among the trials that count; controls answered at random."""
    answers, given = [], 0
    for trial in pack.key.trials:
        hit = given < right or trial.control
        given += not trial.control
        other = "right" if trial.middle == "left" else "left"
        answers.append({"answer": trial.middle if hit else other, "sure": 2, "seconds": 9.0, "switches": 3})
    body = {
        "schema": "charprobe.blind-result/1",
        "pack": pack.key.pack,
        "seal": pack.seal,
        "attempt": 1,
        "answers": answers,
    }
    path = tmp_path / "result.json"
    path.write_text(json.dumps(body | changes))
    return path


def test_no_file_of_a_pack_can_be_told_from_another_from_outside(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    files = sorted((pack.folder / "sounds").iterdir())
    assert len(files) == 3 * (16 + 2)
    assert len({path.stat().st_size for path in files}) == 1
    assert len({path.stat().st_mtime_ns for path in files}) == 1
    assert len({path.read_bytes() for path in files}) == len(
        files
    )  # own dither each: not even copies are equal
    assert len({len(path.name) for path in files}) == 1
    heads = {path.read_bytes().partition(b"data")[0] for path in files}
    assert len(heads) == 1  # the format, and what wrote them
    assert len(heads.pop()) < 100
    assert all(soundfile.SoundFile(path).copy_metadata() == {"software": "charprobe"} for path in files)


def test_the_page_shows_no_trial_to_be_a_control(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng, controls=3)
    page = (pack.folder / PAGE).read_text()
    start = page.index("const PACK = ") + len("const PACK = ")
    trials = json.loads(page[start : page.index(";\n", start)])["trials"]
    names = [name for trial in trials for name in trial.values()]
    assert (
        len(set(names)) == len(names) == 3 * 19
    )  # no file serves two trials, so none can be told by sharing
    assert {frozenset(trial) for trial in trials} == {frozenset({"left", "middle", "right"})}


def test_sorting_by_name_tells_nothing(pair, tmp_path, rng):
    first = []
    for k in range(24):
        pack = make_pack(
            pair,
            tmp_path / f"p{k}",
            key_path=tmp_path / f"k{k}.json",
            trials=5,
            controls=0,
            start_s=0.0,
            length_s=1.0,
            rng=rng,
            force=False,
        )
        first.append(pack.key.sounds[min(pack.key.sounds)])
    assert 4 <= first.count("dry") <= 20  # fair coin: outside in 2 of 10 000 runs


def test_the_pack_holds_the_seal_and_no_answer(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    page = (pack.folder / PAGE).read_text()
    assert pack.seal in page
    assert pack.seal == hashlib.sha256(pack.key_path.read_bytes()).hexdigest()
    assert pack.key.nonce not in page
    assert '"dry"' not in page
    assert '"processed"' not in page
    assert "http" not in page.replace("http-equiv", "")  # nothing is fetched from anywhere
    assert {path.name for path in pack.folder.iterdir()} == {PAGE, "files.json", "sounds"}


def test_files_hold_what_the_key_says(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    inside = slice(RATE_HZ // 10, -RATE_HZ // 10)
    originals = {
        name: soundfile.read(pair / f"{name}.wav")[0][2 * RATE_HZ :][inside] for name in ("dry", "processed")
    }
    assert pack.key.start_s == 2.0  # the loudest second
    for name, sound in pack.key.sounds.items():
        got = soundfile.read(pack.folder / "sounds" / name)[0][inside]
        assert (
            np.abs(got - originals[sound]).max() <= 1.5 * 2.0**-23 + 1e-12
        )  # dither of one step, and rounding


def test_controls_have_the_same_sound_on_both_sides(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng, controls=3)
    assert sum(trial.control for trial in pack.key.trials) == 3
    assert sum(not trial.control for trial in pack.key.trials) == 16


def test_answers_are_fair_coins(pair, tmp_path, rng):
    trials = made(pair, tmp_path, rng, trials=100, controls=0).key.trials
    for what in (lambda t: t.middle == "left", lambda t: t.left == "dry"):
        assert 30 <= sum(what(trial) for trial in trials) <= 70  # 4 sigma


def test_score_of_a_clear_session(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    found = score(answered(pack, tmp_path, 13), key_path=pack.key_path)
    assert (found.hits, found.trials, found.needed) == (13, 16, 12)
    assert found.probability == pytest.approx(697 / 65536)  # (560 + 120 + 16 + 1) / 2^16
    assert "told these two sounds apart" in found.sentence
    assert "better" in found.sentence
    assert (found.controls, found.sure_controls) == (2, 2)


def test_a_session_that_shows_nothing_does_not_claim_equality(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    found = score(answered(pack, tmp_path, 9, attempt=3), key_path=pack.key_path)
    assert "not proof" in found.sentence
    assert "55 %" in found.sentence  # 1 - 0.45, the power for 16 trials and 7 of 10 right
    assert any("attempt 3" in note for note in found.notes)


def test_a_changed_key_is_refused(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    result = answered(pack, tmp_path, 16)
    body = json.loads(pack.key_path.read_text())
    body["trials"][0]["middle"] = "left" if body["trials"][0]["middle"] == "right" else "right"
    pack.key_path.write_text(json.dumps(body))
    with pytest.raises(BlindError, match="not the key that was sealed"):
        score(result, key_path=pack.key_path)


def test_half_a_session_or_a_foreign_one_is_refused(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    with pytest.raises(BlindError, match="whole sessions"):
        score(answered(pack, tmp_path, 16, answers=[{"answer": "left"}]), key_path=pack.key_path)
    with pytest.raises(BlindError, match="belongs to pack"):
        score(answered(pack, tmp_path, 16, pack="other"), key_path=pack.key_path)
    with pytest.raises(BlindError, match="not strict JSON"):
        (tmp_path / "broken.json").write_text("{")
        score(tmp_path / "broken.json", key_path=pack.key_path)


def test_key_reads_back_equal(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    key, seal = read_key(pack.key_path)
    assert key == pack.key
    assert seal == pack.seal == seal_of(key.as_bytes())


def test_misuse_is_refused_and_nothing_is_left(pair, tmp_path, rng):
    with pytest.raises(BlindError, match="inside the pack"):
        make_pack(pair, tmp_path / "pack", key_path=tmp_path / "pack" / "key.json", trials=8, controls=0, start_s=None,
                  length_s=1.0, rng=rng, force=False)  # fmt: skip
    for changes, match in (({"length_s": 9.0}, "--length"), ({"start_s": 2.5}, "--start")):
        with pytest.raises(BlindError, match=match):
            made(pair, tmp_path, rng, **changes)
    with pytest.raises(ValueError, match="5 to 100"):
        made(pair, tmp_path, rng, trials=4)
    assert {path.name for path in tmp_path.iterdir()} == {"pair"}


def test_an_earlier_pack_is_replaced_only_by_force_and_no_other_folder_ever(pair, tmp_path, rng):
    made(pair, tmp_path, rng)
    with pytest.raises(BlindError, match="--force"):
        made(pair, tmp_path, rng)
    made(pair, tmp_path, rng, force=True)
    with pytest.raises(BlindError, match="no earlier blind pack"):
        make_pack(pair, pair, key_path=tmp_path / "key.json", trials=8, controls=0, start_s=None, length_s=1.0, rng=rng,
                  force=True)  # fmt: skip
    assert (pair / "dry.wav").is_file()
    with pytest.raises(BlindError, match="has no dry"):
        made(tmp_path / "pack", tmp_path / "pack", rng)


def test_replacing_a_pack_never_takes_more_than_the_pack_wrote(pair, tmp_path, rng):
    pack = made(pair, tmp_path, rng)
    result, key = pack.folder / "result.json", pack.key_path.read_bytes()
    result.write_text("{}", encoding="utf-8")
    with pytest.raises(BlindError, match=r"result\.json: was not written with the earlier blind pack"):
        made(pair, tmp_path, rng, force=True)
    assert result.is_file()
    assert pack.key_path.read_bytes() == key
    result.rename(tmp_path / "result.json")
    link = tmp_path / "link"
    link.symlink_to(pack.folder, target_is_directory=True)
    with pytest.raises(BlindError, match="no earlier blind pack"):
        make_pack(pair, link, key_path=tmp_path / "other.json", trials=8, controls=0, start_s=None, length_s=1.0, rng=rng,
                  force=True)  # fmt: skip
    assert not (tmp_path / "other.json").exists()
    listed = pack.folder / "files.json"
    (pack.folder / "sounds" / "mine.wav").write_bytes(b"")
    with pytest.raises(BlindError, match=r"mine\.wav: was not written with"):
        made(pair, tmp_path, rng, force=True)
    (pack.folder / "sounds" / "mine.wav").unlink()
    text = listed.read_text(encoding="utf-8")
    listed.write_text(text.replace("sounds/", "sound/"), encoding="utf-8")
    with pytest.raises(BlindError, match="was not written with"):
        made(pair, tmp_path, rng, force=True)
    listed.write_text("[]", encoding="utf-8")
    with pytest.raises(BlindError, match="not a list of the files of a blind pack"):
        made(pair, tmp_path, rng, force=True)
    listed.write_text(text, encoding="utf-8")
    assert made(pair, tmp_path, rng, force=True).key.pack != pack.key.pack


def test_a_key_that_cannot_be_written_leaves_the_earlier_pack(pair, tmp_path, rng, monkeypatch):
    pack = made(pair, tmp_path, rng)
    before = {path.name: path.read_bytes() for path in pack.folder.rglob("*") if path.is_file()}

    def full(*args, **options):
        raise OutputError("the disk is full")

    monkeypatch.setattr("charprobe.listening.blind.pages.write_bytes", full)
    with pytest.raises(OutputError):
        made(pair, tmp_path, rng, force=True)
    assert {path.name: path.read_bytes() for path in pack.folder.rglob("*") if path.is_file()} == before
