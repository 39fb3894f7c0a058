import math

from pytest import approx

from charprobe.profile.in_dbu import dbu_text, with_dbu
from charprobe.profile.profile import Profile
from charprobe.profile.volts import VoltsReading
from charprobe.values.quantity import Quantity
from tests.made_profiles import B, made_profile

FULL_SCALE_DBU = 20.0


def volts_at(dbfs):
    return math.sqrt(0.6) * 10 ** ((dbfs + FULL_SCALE_DBU) / 20)  # 0 dBu is 1 mW into 600 ohms


def test_readings_put_dbu_beside_levels_of_the_input_axis_only():
    readings = [VoltsReading(dbfs, volts_at(dbfs)) for dbfs in (-20.0, -40.0)]
    before = made_profile(B)
    after = with_dbu(before, readings)
    threshold = after.quantities["static.threshold"]
    expected = f"{B.threshold_dbfs + FULL_SCALE_DBU:.1f} dBu".replace("-", "−")
    assert threshold.conditions.startswith(f"= {expected}")
    assert threshold.reading == before.quantities["static.threshold"].reading
    assert threshold.dbu.value == approx(B.threshold_dbfs + FULL_SCALE_DBU, abs=0.005)  # of 6 digits of volts
    assert (threshold.dbu.low, threshold.dbu.high) != (threshold.dbu.value,) * 2
    assert dbu_text(threshold) == f"= {expected}"
    assert dbu_text(after.quantities["static.slope"]) == ""
    assert Profile.from_json(after.to_json(), source="p.json") == after
    changed = {n for n, entry in after.quantities.items() if entry != before.quantities[n]}
    assert all(isinstance(after.quantities[n].reading, Quantity) for n in changed)
    assert changed <= {n for n in changed if after.quantities[n].reading.unit == "dBFS"}
    assert not any(name.startswith("noise.") for name in changed)
    assert after.health == before.health


def test_readings_that_contradict_each_other_give_a_warning_and_no_dbu():
    before = made_profile(B)
    wrong = [VoltsReading(-20.0, volts_at(-20.0)), VoltsReading(-40.0, volts_at(-20.0))]
    after = with_dbu(before, wrong)
    codes = {(item.code, item.severity) for item in after.health} - {
        (item.code, item.severity) for item in before.health
    }
    assert codes == {("volts-misfit", "warn")}
    assert after.quantities == before.quantities
