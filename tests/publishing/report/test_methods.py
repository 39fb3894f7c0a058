import dataclasses

from made_profiles import B, D, made_profile

from charprobe.profile.facts import MadeWith
from charprobe.publishing.report.methods import methods_paragraph


def test_the_paragraph_names_stimulus_captures_clock_and_version():
    text = methods_paragraph([made_profile(B), made_profile(D)])
    assert "Recipe quick (bbbbbb) at 48 kHz" in text
    assert "recorded: 2 captures." in text
    assert "Input levels are what a capture with the stage off shows for the same step." in text
    assert "ran 18.4 ppm off" in text
    assert text.endswith("Measured with charprobe 0.1.0.")


def test_it_says_where_the_stage_off_is_missing():
    bare = dataclasses.replace(made_profile(B), made_with=MadeWith("0.1.0", {"bypass": None}))
    text = methods_paragraph([bare])
    assert "where there is one, else the stimulus's" in text
