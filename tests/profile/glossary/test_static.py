from charprobe.profile import glossary
from charprobe.profile.glossary.static import STATIC


def test_levels_can_be_given_in_dbu_and_ratio_is_compared_through_its_slope():
    levels = {name for name, term in STATIC.items() if term.unit == "dBFS"}
    assert {name for name, term in STATIC.items() if term.on_input_axis} == levels
    assert STATIC["static.ratio"].through == "static.slope"
    assert STATIC.items() <= glossary.TERMS.items()
