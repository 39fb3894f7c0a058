from timed_chapters import level_steps, takes

from charprobe.measuring.chapters.timing.chapter import timing_chapter
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.values.quantity import Quantity, Unmeasured


def test_a_release_that_stops_short_of_the_gain_at_rest_is_a_bound():
    stage, (wet, bypass) = make_stage("smooth-gain-hard"), takes("smooth-gain-hard")
    agreeing = timing_chapter(wet, bypass, level_steps(stage))
    assert isinstance(agreeing.quantities["release.t90"].reading, Quantity)
    assert isinstance(agreeing.quantities["attack.t90"].reading, Quantity)
    assert not agreeing.health
    # to steps of 2 dB more gain the same traces are those of a stage with a slower recovery still to come
    short = timing_chapter(wet, bypass, level_steps(stage, low_off_db=2.0))
    release, attack = (short.quantities[f"{edge}.t90"].reading for edge in ("release", "attack"))
    assert isinstance(release, Unmeasured)
    assert release.at_least >= agreeing.quantities["release.t50"].reading.low
    assert isinstance(attack, Unmeasured)
    assert "below the gain at rest" in attack.reason
    (told,) = (item for item in short.health if item.code == "gap-too-short")
    assert "2 dB below the gain at rest" in told.message
