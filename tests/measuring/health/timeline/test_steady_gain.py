import numpy as np
import pytest
import soundfile
from a_little_of_all import RECIPE
from click.testing import CliRunner
from judged_captures import RATE, clean
from judged_pairs import PATH_RATE_HZ, PATH_RECIPE, codes, found_in, judged_path, named, recorded

from charprobe.cli import main
from charprobe.measuring.health.timeline.steady_gain import check_uneven_gain
from charprobe.simulation.rig.fault_catalogue import apply_fault
from charprobe.stimulus.cue_sheet import CueSheet, render_cue_sheet
from charprobe.stimulus.render import lay_out


def test_what_a_bypass_shows_is_told_before_measuring(rng, tmp_path):
    def run(*arguments):
        return CliRunner().invoke(main, arguments)

    paths = [tmp_path / "set.wav", tmp_path / "off.wav"]
    sheet = tmp_path / "cues.json"
    stimulus = lay_out(RECIPE, rate_hz=RATE, take=1)
    sheet.write_text(render_cue_sheet(CueSheet(stimulus, "pcm24", "0" * 64)), encoding="utf-8")
    for path, stage in zip(paths, ("odd-colour", "plain-wire"), strict=True):
        samples = apply_fault("automatic-gain", clean(stage, rng), rate_hz=RATE)
        soundfile.write(path, np.clip(samples, -1, 1), RATE, subtype="PCM_24")
    arguments = ["check", str(paths[0]), "--stimulus", str(sheet)]
    assert "automatic-gain" not in run(*arguments).output
    both = run(*arguments, "--bypass", str(paths[1]))
    assert both.exit_code == 1
    assert "STOP automatic-gain" in both.output
    assert "In the bypass: With the stage off the gain follows the sound by" in " ".join(both.output.split())
    assert "equals-other-capture" in run(*arguments, "--bypass", str(paths[0])).output


def test_a_gain_step_is_placed_and_sized():
    health = found_in("plain-wire", fault=named("gain-step"), on_both=False)
    step = next(item.for_people() for item in health if item.code == "gain-step")
    total_s = lay_out(PATH_RECIPE, rate_hz=PATH_RATE_HZ, take=1).duration_s + 0.6
    assert step.start_s == pytest.approx(total_s / 2, abs=0.02)  # the middle of the capture
    assert "+1.40 dB" in step.message


def uneven(samples):
    """Codes that lean one way and the other over the range, by 3 of 10 000 of it."""
    return samples + 3e-4 * np.sin(34.5 * samples)


def worn(samples):
    """A contact that is somewhere else every half second, by 0.05 dB and less."""
    at = np.random.default_rng(7).uniform(-0.05, 0.05, samples.shape[0] // 24_000 + 1)
    return samples * 10 ** (at[np.arange(samples.shape[0]) // 24_000][:, None] / 20)


@pytest.mark.parametrize(("path", "code"), [(uneven, "clipped-below-full-scale"), (worn, "level-drift")])
def test_tones_whose_gain_differs_without_a_course_are_told_by_what_repeats(path, code):
    (told,) = check_uneven_gain(judged_path(path(recorded("plain-wire", 25.8)), "plain-wire")[0])
    assert told.code == code
    assert check_uneven_gain(judged_path(recorded("plain-wire", 25.8), "plain-wire")[0]) == []


def test_a_bypass_that_bends_its_loudest_tones_is_no_automatic_gain():
    assert "automatic-gain" not in codes(found_in("plain-wire", fault=lambda x: x - 0.05 * x**3))
