import dataclasses

import numpy as np
import pytest
from figure_parts import NOISE, TRAIN, TRAIN_TRACE, TRANSFER, three_holds
from made_profiles import UGLY, made_profile
from matplotlib.figure import Figure

from charprobe.files.sound.sound_file import write_wav
from charprobe.listening.ab import make_pair
from charprobe.publishing.figures.all_figures import profile_drawings
from charprobe.publishing.figures.look.style import ARTICLE_LOOK
from charprobe.stimulus.kinds.material import generate


@pytest.fixture(scope="session")
def drawings():
    profile = made_profile(UGLY)
    curves = {
        **profile.curves,
        "noise_spectrum": NOISE,
        "timing": three_holds(profile.curves["timing"]),
        "transfer": TRANSFER,
        "burst_train": TRAIN,
        "burst_train_trace": TRAIN_TRACE,
    }
    profile = dataclasses.replace(profile, curves=curves)
    return {drawing.name: drawing for drawing in profile_drawings(profile, ARTICLE_LOOK)}


@pytest.fixture
def axes():
    """Axes of somebody else's figure."""
    return Figure().subplots()


RATE_HZ = 48_000


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pair")
    dry = generate("music", seconds=6.0, rate_hz=RATE_HZ, rng=np.random.default_rng(3))
    swing = -4 + 3 * np.sin(2 * np.pi * 0.5 * np.arange(dry.size) / RATE_HZ)
    for name, samples in (("dry", dry), ("wet", dry * 10 ** (swing / 20))):
        write_wav(folder / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="pcm24", force=False)
    return make_pair(
        folder / "dry.wav",
        folder / "wet.wav",
        folder / "out",
        rule="loudness",
        remove_response=False,
        roles_as_named=True,
        second_path_as_meant=False,
        convert_rate=False,
        force=False,
    )
