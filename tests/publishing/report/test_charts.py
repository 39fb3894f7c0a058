import json

import numpy as np
from made_profiles import UGLY, B, gain_db, made_profile

from charprobe.publishing.figures.overlay import members
from charprobe.publishing.report import charts
from charprobe.publishing.report.charts import MOST_POINTS, charts_json, charts_of


def test_the_points_are_those_of_the_curves_and_few():
    drawn = charts_of(members([made_profile(B)], ["B"]))
    static = drawn["static-overlay"][0]["curves"][0]
    np.testing.assert_allclose(static["y"], static["x"] + gain_db(B, static["x"]), atol=1e-3)  # five digits
    for panels in drawn.values():
        for curve in (curve for panel in panels for curve in panel["curves"]):
            assert len(curve["x"]) <= MOST_POINTS
            assert np.all(np.diff(curve["x"]) > 0)


def test_long_curves_are_thinned_out_and_keep_their_ends(monkeypatch):
    every = members([made_profile(B)], ["B"])
    whole = charts_of(every)["static-overlay"][0]["curves"][0]
    monkeypatch.setattr(charts, "MOST_POINTS", 5)
    few = charts_of(every)["static-overlay"][0]["curves"][0]
    assert len(few["x"]) == len(few["y"]) == 5
    assert [few["x"][0], few["x"][-1]] == [whole["x"][0], whole["x"][-1]]


def test_names_cannot_end_the_script_they_stand_in():
    text = str(charts_json(members([made_profile(UGLY)], ["</script><b>"])))
    assert "<" not in text
    assert json.loads(text)["static-overlay"][0]["curves"][0]["name"] == "</script><b>"
