import dataclasses

import pytest
from figure_parts import NOISE, TRAIN, TRAIN_TRACE, TRANSFER, three_holds
from made_profiles import UGLY, made_profile
from matplotlib.figure import Figure

from charprobe.publishing.figures.all_figures import profile_drawings
from charprobe.publishing.figures.style import ARTICLE_LOOK


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
