import numpy as np
import pytest
from timed_chapters import chapter_of

from charprobe.measuring.chapters.timing.chapter import ATTACK_NAMES, RELEASE_NAMES
from charprobe.profile.glossary import term
from charprobe.values.quantity import Unmeasured


def test_names_units_and_columns_are_the_published_ones():
    chapter = chapter_of("smooth-gain-hard")
    for name in (*ATTACK_NAMES, *RELEASE_NAMES):
        assert chapter.quantities[name].reading.unit == term(name).unit
    times = [("attack", name) for name in ("t50", "t63", "t90", "within_2db", "within_3db")]
    times += [("release", name) for name in ("t50", "t63", "t90", "within_2db", "within_4db")]
    assert set(chapter.curves["timing"].columns) == {
        "from_dbfs", "to_dbfs", "carrier_hz", "hold_s", "reduction_db", "attack_overshoot_db", "resolution_s",
        "attack_settled", "release_settled",
        *(f"{edge}_{name}{end}_s" for edge, name in times for end in ("", "_low", "_high")),
    }  # fmt: skip
    assert list(chapter.curves["gain_trace"].columns) == ["step", "edge", "time_s", "gain_db", "std_db"]
    rows = len(chapter.curves["timing"].columns["hold_s"])
    assert rows == 3
    assert set(chapter.curves["gain_trace"].columns["step"]) == set(range(rows))
    assert np.all(np.isfinite(chapter.curves["gain_trace"].columns["gain_db"]))
    detail = chapter.curves["attack_detail"].columns
    assert detail["passes_db"][0] == pytest.approx(15, abs=0.1)  # (-4 + 24) * 3/4
    overshoot = chapter.quantities["attack.overshoot"].reading
    assert isinstance(overshoot, Unmeasured)  # one pole in dB comes to its goal from one side only
    assert overshoot.reason == "none stands out of the noise"
    assert 0 < overshoot.at_most < 0.001
