import dataclasses

from made_profiles import LIMITER, B, made_profile

from charprobe.profile.entry import Entry
from charprobe.publishing.report.card import shown_of
from charprobe.publishing.report.glance import overviews_of
from charprobe.values.quantity import Quantity, Unmeasured


def coloured():
    """A setting that reduces no gain and adds harmonics."""
    profile = made_profile(dataclasses.replace(B, name="warm"))
    gone = Unmeasured("s", "the stage reduces no gain", "none needed")
    quantities = profile.quantities | {
        "static.max_reduction": Entry(Unmeasured("dB", "none", "louder steps", at_most=0.05), ""),
        "colour.onset": Entry(Quantity.from_std(-42.0, 0.1, "dBFS"), ""),
        "attack.t63": Entry(gone, ""),
        "release.t63": Entry(gone, ""),
    }
    return dataclasses.replace(profile, quantities=quantities)


def test_each_kind_of_setting_has_its_table_with_columns_that_say_something():
    dynamics, sound = overviews_of(shown_of([made_profile(LIMITER), coloured()]))
    assert [item.name for item in dynamics.rows] == ["Limiter"]
    assert "static.makeup_gain" not in dynamics.names  # 0 dB, as for every setting of the table
    assert {"static.threshold", "attack.t63"} <= set(dynamics.names)
    assert "colour.onset" in sound.names and "static.threshold" not in sound.names


def test_a_good_take_stands_for_its_setting_and_the_spoiled_one_comes_last():
    good = made_profile(B)
    clipped = dataclasses.replace(good.health[1], code="clipped", severity="stop")
    capture = dataclasses.replace(good.capture, file="clipped.wav", sha256="c" * 64)
    bad = dataclasses.replace(good, health=(clipped,), capture=capture)
    (shown,) = shown_of([bad, good])
    assert shown.profile.capture == good.capture
    assert [(take.facts.partition(":")[0], take.spoilt) for take in shown.takes] == [
        ("take 1 é.wav", ""),
        ("clipped.wav", "clipped"),
    ]


def test_values_of_good_takes_are_merged():
    first = made_profile(B)
    other = made_profile(dataclasses.replace(B, threshold_dbfs=B.threshold_dbfs + 0.1))
    second = dataclasses.replace(other, capture=dataclasses.replace(other.capture, sha256="d" * 64))
    (shown,) = shown_of([first, second])
    threshold = shown.profile.quantities["static.threshold"]
    assert abs(threshold.reading.value - (B.threshold_dbfs + 0.05)) < 1e-6
    assert threshold.conditions.endswith("mean of 2 takes")
