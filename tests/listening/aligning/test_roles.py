import numpy as np
import pytest
from held import as_source

from charprobe.listening.aligning.roles import check_roles

RATE_HZ = 48_000


def judged(slope, rng):
    """Noise whose level moves over 30 dB, and the same with a gain that follows the level."""
    time_s = np.arange(6 * RATE_HZ) / RATE_HZ
    level_db = -25 + 15 * np.sin(2 * np.pi * 0.4 * time_s)
    sound = rng.normal(0, 1, time_s.size) * 10 ** (level_db / 20)
    processed = sound * 10 ** (slope * level_db / 20)
    return check_roles(
        as_source(sound[:, None], RATE_HZ), as_source(processed[:, None], RATE_HZ), dry_channels=(0,)
    )


@pytest.mark.parametrize(
    ("slope", "verdict"), [(-0.5, "as named"), (-0.1, "as named"), (0.0, "cannot tell"), (0.3, "swapped")]
)
def test_gain_that_falls_with_level_is_a_compressor_and_gain_that_rises_is_swapped_files(slope, verdict, rng):
    roles = judged(slope, rng)
    assert roles.verdict == verdict
    # the level is the mean of both files, so it moves by 1 + slope / 2 per dB of the dry one
    assert roles.slope == pytest.approx(slope / (1 + slope / 2), abs=0.01)


def test_too_little_sound_does_not_tell(rng):
    sound = as_source(rng.normal(0, 0.1, (RATE_HZ // 4, 1)), RATE_HZ)
    assert check_roles(sound, sound, dry_channels=(0,)).verdict == "cannot tell"
