import sys
from types import SimpleNamespace

import numpy as np
import pytest
from made_profiles import Setting, made_profile

from charprobe.profile.entry import Entry, Table
from charprobe.profile.notebook import column_arrays, html_table
from charprobe.values.quantity import Quantity, Unmeasured

TABLE = Table(
    {"level": [-20.0, None], "settled": [True, False], "kind": ["up", None], "seen": [True, None]},
    {"level": "dBFS", "settled": "", "kind": "", "seen": ""},
)


def test_columns_become_arrays_of_their_kind():
    arrays = column_arrays(TABLE)
    np.testing.assert_array_equal(arrays["level"], [-20.0, np.nan])
    np.testing.assert_array_equal(arrays["seen"], [1.0, np.nan])
    assert arrays["settled"].dtype == bool
    assert arrays["settled"].tolist() == [True, False]
    assert arrays["kind"].tolist() == ["up", ""]


def test_the_table_shows_number_or_reason_and_escapes_the_users_words():
    entries = {
        "static.threshold": Entry(Quantity(-20.0, -20.1, -19.9, "dBFS"), ""),
        "attack.t63": Entry(Unmeasured("s", "levels < -60 dBFS & silence", "louder"), ""),
    }
    html = html_table("<b>warm</b> & loud", entries)
    assert "&lt;b&gt;warm&lt;/b&gt; &amp; loud" in html
    assert "<b>" not in html
    assert "<td>−20.00</td><td>± 0.10</td><td>dBFS</td>" in html
    assert "levels &lt; -60 dBFS &amp; silence" in html
    assert html.count("<tr>") == 3


def test_a_profile_answers_by_name():
    profile = made_profile(Setting("warm"))
    name = next(name for name, entry in profile.quantities.items() if isinstance(entry.reading, Quantity))
    assert profile[name] is profile.quantities[name].reading
    assert profile.measured(name) is profile[name]
    assert profile._repr_html_().count("<tr>") == 1 + len(profile.quantities)
    curve = next(iter(profile.curves))
    assert list(profile.curve(curve)) == list(profile.curves[curve].columns)


def test_a_name_that_is_not_held_is_told_with_near_ones():
    profile = made_profile(Setting("warm"))
    with pytest.raises(KeyError, match=r"no quantity 'static.treshold'; near: .*static\.threshold"):
        profile["static.treshold"]
    with pytest.raises(KeyError, match="no quantity"):
        profile.measured("static.treshold")
    with pytest.raises(KeyError, match=r"no curve 'statics'; near: static"):
        profile.curve("statics")


def test_a_data_frame_needs_pandas(monkeypatch):
    profile = made_profile(Setting("warm"))
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ImportError, match="pandas"):
        profile.frame("static")
    made = SimpleNamespace(DataFrame=lambda columns: SimpleNamespace(columns=columns, attrs={}))
    monkeypatch.setitem(sys.modules, "pandas", made)
    frame = profile.frame("static")
    assert list(frame.columns) == list(profile.curves["static"].columns)
    assert frame.attrs["units"] == dict(profile.curves["static"].units)
