from dataclasses import replace

import pytest

from charprobe.profile.entry import Table
from charprobe.replica.fitting.sentences import no_colour
from tests.made_profiles import Setting, made_profile


@pytest.mark.parametrize(
    ("origins", "said"),
    [
        (["none", "ripple", "none"], "no colour"),
        (["colour", "ripple", "none"], "up to −70 dB re the tone (harmonics at 997 Hz and −20 dBFS)"),
        (["colour", "none", "colour"], "up to −62 dB re the tone (harmonics at 100 Hz and −8 dBFS)"),
    ],
)
def test_colour_that_tones_showed_is_named_where_the_replica_leaves_it_out(origins, said):
    columns = {
        "input_dbfs": [-20.0, -14.0, -8.0], "frequency_hz": [997.0, 997.0, 100.0], "thd_dbc": [-70.0, -40.0, -62.0],
        "origin": origins,
    }  # fmt: skip
    profile = made_profile(Setting("one"))
    profile = replace(
        profile, curves=profile.curves | {"harmonics": Table(columns, dict.fromkeys(columns, ""))}
    )
    assert no_colour(profile).endswith(said)
    assert no_colour(replace(profile, curves={})) == "no colour"
