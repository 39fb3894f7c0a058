import numpy as np
import pytest
import soundfile
from designs import FIRST

from charprobe.bench import second_pass
from charprobe.bench.jobs import jobs_of
from charprobe.bench.second_pass import proposals, recipe_text, second_jobs
from charprobe.files.sound.sound_file import open_capture
from charprobe.measuring.measure import measure
from charprobe.session.file import load_session
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.recipe import load_recipe, parse_recipe, shipped_recipes
from charprobe.stimulus.render import lay_out, render

SESSION = """
schema = "charprobe.session/1"
title = "One setting"
recipe = "first.toml"
bypass = "captures/bypass.wav"

[device]
name = "made up"

[[setting]]
name = "voice"
captures = ["captures/voice 1.wav"]
"""


@pytest.mark.parametrize("name", shipped_recipes())
def test_a_recipe_written_down_is_the_same_recipe(name):
    recipe = load_recipe(name)
    assert parse_recipe(recipe_text(recipe), source="text").hash == recipe.hash


def test_the_second_take_of_a_sitting_tells_what_was_foretold_and_of_the_same_quantities(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(second_pass, "LONGEST_S", 60.0)
    (tmp_path / "first.toml").write_text(recipe_text(FIRST), encoding="utf-8")
    (tmp_path / "session.toml").write_text(SESSION, encoding="utf-8")
    session = load_session(tmp_path / "session.toml")
    first = jobs_of(session, repeats=False)
    _play(first)
    (proposal,) = proposals(session, first)
    second = second_jobs(session, [proposal])
    _play(second)
    off, voice = (next(job for job in second if job.kind == kind) for kind in ("bypass", "setting"))
    stimulus = lay_out(voice.recipe, rate_hz=48_000, take=voice.take)
    profile = measure(open_capture(voice.file), stimulus, bypass=open_capture(off.file), setting="voice")
    expected = {row.name: row for row in proposal.design.expected}
    assert expected.keys() >= {
        "static.threshold",
        "static.makeup_gain",
        "attack.t63",
        "attack.t90",
        "release.t63",
    }
    for name, row in expected.items():
        came = profile.quantities[name].reading
        # levels within a factor of two; windows that times are read in, and scatter read off few phases, are
        # chosen by the noise itself: either moves an interval by a factor of two either way
        most = 2 if name.startswith("static") else 5
        assert 1 / most < (came.high - came.low) / 2 / row.then < most, name
        assert abs(came.value - row.value) <= 2 * row.now, name


def _play(jobs):
    for job in jobs:
        sound = render(lay_out(job.recipe, rate_hz=48_000, take=job.take))
        stage = make_stage("plain-wire" if job.kind == "bypass" else "smooth-gain-hard")
        rng = np.random.default_rng([job.take, len(job.recipe.segments)])
        out = stage.process(sound, rate_hz=48_000, rng=rng).samples
        rig = Rig(delay_samples=37.4, drift_ppm=23.0, noise_dbfs=-90.0, bits=24, lead_s=0.2, tail_s=0.2)
        job.file.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(job.file, rig.record(out, rate_hz=48_000, rng=rng), 48_000, subtype="PCM_24")
