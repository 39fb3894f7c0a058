import pytest
from timed_chapters import CARRIER_HZ, HIGH, HOLD_S, LEAD_S, LOW, RATE_HZ, REST_S, chapter_of

from charprobe.simulation.devices.catalogue import make_stage
from charprobe.values.quantity import Unmeasured
from tests.true_bursts import true_burst


@pytest.mark.parametrize(
    "name",
    ["smooth-gain-hard", "held-release", "feedforward-peak-hard", "feedforward-rms-hard", "fast-limiter"],
)
def test_times_equal_those_of_the_stages_own_gain(name, rng):
    chapter = chapter_of(name)
    truth = true_burst(
        make_stage(name), low_dbfs=LOW, high_dbfs=HIGH, carrier_hz=CARRIER_HZ, lead_s=LEAD_S, hold_s=HOLD_S,
        release_s=REST_S, rate_hz=RATE_HZ, rng=rng,
    )  # fmt: skip
    for quantity in ("t63", "t90"):
        found = chapter.quantities[f"attack.{quantity}"].reading.value
        # the goal: 2 % or one sample
        assert found == pytest.approx(getattr(truth.attack, f"{quantity}_s"), rel=0.02, abs=1 / RATE_HZ)
    for quantity in ("t50", "t63", "t90"):
        found = chapter.quantities[f"release.{quantity}"].reading.value
        assert found == pytest.approx(getattr(truth.release, f"{quantity}_s"), rel=0.01)  # the goal


def test_a_wire_has_no_times_and_says_why():
    chapter = chapter_of("plain-wire")
    reading = chapter.quantities["attack.t63"].reading
    assert isinstance(reading, Unmeasured)
    assert "nothing to time" in reading.reason
