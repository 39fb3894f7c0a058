import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d
from taken import take_of, wire

from charprobe.measuring.chapters.static.chapter import static_chapter
from charprobe.stimulus.kinds.level_steps import LevelSteps

STEPS = (LevelSteps("steps", 997.0, -60.0, -6.0, 3.0, 0.2, True, gap_s=0.0),)


def closing(floor_db):
    """A gate whose own level is heard over a whole period: it opens at -45 dBFS."""

    def gate(samples):
        heard = maximum_filter1d(np.abs(samples), 61)
        return samples * np.where(heard > 10 ** (-46.5 / 20), 1.0, 10 ** (floor_db / 20))

    return gate


@pytest.mark.parametrize(
    ("device", "noise_dbfs", "said"),
    [
        (closing(-62.0), -100.0, " dB or less at −48.0 dBFS to 0.0 dB at −45.0 dBFS"),
        (closing(-100.0), -100.0, "from less than can be read at −48.0 dBFS to 0.0 dB at −45.0 dBFS"),
        (wire, -100.0, ""),
        (wire, -45.0, ""),  # noise alone hides low steps
    ],
)
def test_a_gate_that_closes_into_the_noise_is_told_from_noise(device, noise_dbfs, said, rng):
    wet, off = (take_of(STEPS, made, rng=rng, noise_dbfs=noise_dbfs) for made in (device, wire))
    chapter, _ = static_chapter(wet, off)
    told = [text for text in chapter.findings if text.startswith("Gate or expander")]
    assert [said in text for text in told] == ([True] if said else [])
    corner = chapter.quantities.get("static.lower_threshold")
    assert (corner is not None) == bool(said)
    if corner is not None:
        assert (corner.reading.low, corner.reading.high) == pytest.approx((-48.0, -45.0), abs=0.05)
