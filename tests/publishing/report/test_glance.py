import dataclasses

from made_profiles import LIMITER, B, made_profile

from charprobe.profile.entry import Entry, Table
from charprobe.publishing.report.card import shown_of
from charprobe.publishing.report.glance import has_colour, overviews_of
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
    assert "warm" in [item.name for item in sound.rows]


def test_harmonics_alone_or_a_bent_response_alone_change_the_sound():
    profile = coloured()
    flat = dataclasses.replace(profile, curves={})
    assert has_colour(flat)
    clear = Entry(Unmeasured("dBFS", "none found", "hotter tones", at_least=-2.0), "")
    clean = dataclasses.replace(flat, quantities=flat.quantities | {"colour.onset": clear}, findings=())
    assert not has_colour(clean)
    for shelf_db, bent in ((0.0, False), (1.0, True)):
        columns = {
            "frequency_hz": [100.0, 9000.0],
            "magnitude_db": [0.0, shelf_db],
            "drive_dbfs": [-40.0] * 2,
        }
        response = Table(columns, {"frequency_hz": "Hz", "magnitude_db": "dB", "drive_dbfs": "dBFS"})
        assert has_colour(dataclasses.replace(clean, curves={"response": response})) == bent


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
