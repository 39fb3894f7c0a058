from charprobe.profile.glossary.colour import COLOUR


def test_every_harmonic_to_the_tenth_is_a_level_over_the_fundamental():
    for order in range(2, 11):
        term = COLOUR[f"colour.h{order}_at_reference"]
        assert (term.unit, term.title) == ("dBc", f"H{order} at reference")
    for limit in (40, 60):
        assert COLOUR[f"colour.input_at_thd_minus{limit}db"].on_input_axis
