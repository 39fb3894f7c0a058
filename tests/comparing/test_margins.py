import dataclasses

from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.curves import CURVES
from charprobe.comparing.margins import MARGINS
from charprobe.profile import glossary


def test_every_margin_is_of_a_known_quantity_and_has_a_reason():
    for name, margin in MARGINS.items():
        assert name in glossary.TERMS or name in CURVES
        assert len(margin.reason) > 15
        assert margin.size > (1 if margin.scale == "ratio" else 0)


def test_a_curve_has_the_margin_it_is_given():
    profiles = [
        made_profile(B),
        made_profile(dataclasses.replace(B, name="other", attack_s=B.attack_s * 1.5)),
    ]
    wide = dataclasses.replace(MARGINS["attack trace"], size=3.0)
    for margins, verdict in ((MARGINS, "different"), ({**MARGINS, "attack trace": wide}, "same")):
        found = compare_profiles(profiles, margins=margins).differences
        assert next(d for d in found if d.name == "attack trace").verdict == verdict
    assert set(CURVES) <= set(MARGINS)
