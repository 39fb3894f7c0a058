import numpy as np
import pytest
import soundfile

from charprobe.stimulus.cue_sheet import load_cue_sheet
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.stimulus.write import write_stimulus
from charprobe.values.errors import OutputError

QUICK = load_recipe("quick")


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_the_files_hold_the_rendered_sound_and_its_timetable(tmp_path, rate_hz):
    written = write_stimulus(QUICK, tmp_path / "q.wav", rate_hz=rate_hz, take=9, subtype="pcm24", force=False)
    stimulus = lay_out(QUICK, rate_hz=rate_hz, take=9)
    assert load_cue_sheet(written.cues).stimulus == stimulus
    assert load_cue_sheet(written.wav).stimulus == stimulus
    samples, rate = soundfile.read(written.wav)
    assert rate == rate_hz
    np.testing.assert_allclose(samples, render(stimulus), rtol=0, atol=0.51 * 2**-23)  # half a 24-bit step
    assert written.peak_dbfs == pytest.approx(QUICK.segments[2].to_dbfs, abs=1e-3)


def test_the_same_request_gives_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        write_stimulus(
            QUICK, tmp_path / f"{name}.wav", rate_hz=48_000, take=1, subtype="float32", force=False
        )
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()


def test_an_existing_cue_sheet_stops_the_work_before_anything_is_written(tmp_path):
    (tmp_path / "q.json").write_text("mine")
    with pytest.raises(OutputError, match="already exists"):
        write_stimulus(QUICK, tmp_path / "q.wav", rate_hz=48_000, take=1, subtype="pcm24", force=False)
    assert not (tmp_path / "q.wav").exists()
    assert (tmp_path / "q.json").read_text() == "mine"


def test_a_name_that_is_no_wav_is_refused(tmp_path):
    with pytest.raises(OutputError, match=r"ends in \.wav"):
        write_stimulus(QUICK, tmp_path / "q.flac", rate_hz=48_000, take=1, subtype="pcm24", force=False)
