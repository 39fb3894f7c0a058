from judged_pairs import found_in, named


def test_a_sound_that_comes_and_goes_under_tones_is_no_click():
    found = found_in("odd-colour", fault=named("ring-tone"), on_both=False)
    told = {item.code: item for item in found if item.severity != "note"}
    assert set(told) == {"spur"}
    assert "sound that was not played" in told["spur"].message.lower()
