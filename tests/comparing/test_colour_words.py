from charprobe.comparing.colour_words import colour_sentence, colourless
from charprobe.values.quantity import Quantity, Unmeasured

HIDDEN = Unmeasured("dBFS", "no colour", "hotter tones", at_least=-2.0)


def level(value, unit="dBFS"):
    return Quantity.from_std(value, 0.01, unit)


def test_colour_is_told_by_amount_kind_and_level_and_who_has_none():
    values = {
        "colour.onset": [level(-42.0), level(-30.0), HIDDEN],
        "colour.thd_at_reference": [level(-30.0, "dBc"), level(-46.04, "dBc"), None],
        "colour.even_odd_balance": [level(20.0, "dB"), Unmeasured("dB", "only odd", "", at_most=-50.0), None],
    }
    assert colour_sentence(["warm", "edge", "press"], values, tones=["440 Hz", "440 Hz"]) == (
        "Colour: warm adds mostly even harmonics from −42.0 dBFS up (THD −30.0 dBc); "
        "edge adds only odd harmonics from −30.0 dBFS up (THD −46.0 dBc); press: none found at 440 Hz."
    )


def test_settings_of_one_colour_are_told_together():
    values = {"colour.onset": [level(-42.0), level(-42.0), level(-30.0)]}
    assert colour_sentence(["warm", "twin", "edge"], values) == (
        "Colour: warm and twin add harmonics from −42.0 dBFS up; edge adds harmonics from −30.0 dBFS up."
    )


def test_where_nobody_shows_colour_nothing_is_said():
    assert colour_sentence(["a", "b"], {"colour.onset": [HIDDEN, HIDDEN]}) == ""


def test_colour_from_below_the_lowest_tone_is_colour():
    early = Unmeasured("dBFS", "colour at every level played", "quieter tones", at_most=-40.0)
    assert colour_sentence(["old", "press"], {"colour.onset": [early, HIDDEN]}) == (
        "Colour: old adds harmonics from below −40.0 dBFS up; press: none found."
    )


def test_who_is_known_to_add_nothing_is_told_from_who_was_not_looked_at():
    unknown = Unmeasured("dBFS", "no tone had settled", "longer tones")
    assert colourless({"colour.onset": [level(-42.0), HIDDEN, unknown, None, HIDDEN]}) == [1, 4]
