import dataclasses

import pytest
from made_profiles import LIMITER, UGLY, UGLY_NAME, B, made_profile

from charprobe.profile import glossary
from charprobe.profile.entry import Entry, Health
from charprobe.publishing.portrait import portrait_of
from charprobe.publishing.summary import WIDTH, columns_of, summarise, summarise_all
from charprobe.values.quantity import Quantity, Unmeasured

LONG = "x" * 300 + "é日" * 60


@pytest.mark.parametrize("setting", [B, UGLY, LIMITER, dataclasses.replace(B, name=LONG)])
def test_every_line_fits_and_nothing_steers_the_terminal(setting):
    text = f"{summarise(made_profile(setting))}\n{summarise_all(made_profile(setting))}"
    assert max(columns_of(line) for line in text.splitlines()) <= WIDTH
    assert all(character.isprintable() for character in text.replace("\n", ""))


def test_the_short_summary_begins_with_what_the_setting_is_and_has_few_digits():
    profile = made_profile(B)
    text = summarise(profile)
    lines = text.splitlines()
    assert lines[0] == "B – slow, channel 1"
    assert lines[1] == f"  {portrait_of(profile).level}"
    assert "Static    Threshold −22.0 dBFS ± 0.1; Ratio 4.0:1 ± 0.1" in text
    assert "Attack t63 5.0 ms ± 0.1" in text
    assert lines[-1].startswith("All of it (1 note, 24 quantities, 1 finding)")
    assert "unsettled" in text and "clock-drift" not in text


def test_a_level_in_volts_stands_apart_from_the_same_in_full_scale():
    profile, level = made_profile(B), Quantity.from_std(-22.0, 0.01, "dBFS")
    entry = Entry(level, "", dbu=Quantity.from_std(-2.0, 0.01, "dBu"))
    told = dataclasses.replace(profile, quantities={**profile.quantities, "static.threshold": entry})
    assert "Threshold −22.0 dBFS ± 0.1 = −2.0 dBu; Ratio" in summarise(told)


def test_a_reason_is_never_cut_off():
    reason = "word " * 60 + "end"
    gone = {"attack.t63": Entry(Unmeasured("s", reason, "play louder"), "")}
    for summary in (summarise, summarise_all):
        text = summary(dataclasses.replace(made_profile(B), quantities=gone))
        assert text.count("word") == 60
        assert "…" not in text


def test_every_quantity_stands_under_its_group_with_unit():
    profile = made_profile(B)
    lines = summarise_all(profile).splitlines()
    for name in profile.quantities:
        assert sum(line.startswith(f"  {glossary.term(name).title:<28}") for line in lines) == 1, name
    assert "  Attack t63                          5.00  ± 0.04              ms" in lines


def test_health_comes_before_every_number_and_names_place():
    lines = summarise_all(made_profile(B)).splitlines()
    assert lines.index("HEALTH") < next(i for i, line in enumerate(lines) if line.startswith("STATIC CURVE"))
    assert any("[channel 1, 00:09.5–00:11.0]" in line for line in lines)


def test_no_health_is_said_too():
    assert "nothing found wrong" in summarise_all(dataclasses.replace(made_profile(B), health=()))


def test_a_bound_and_a_reason_take_the_place_of_a_missing_number():
    ratio = Unmeasured(":1", "the slope's interval reaches zero", "larger steps", at_least=20.0)
    text = summarise_all(dataclasses.replace(made_profile(B), quantities={"static.ratio": Entry(ratio, "")}))
    assert "≥ 20  :1   the slope's interval reaches zero" in text


def test_the_users_setting_name_is_literal():
    assert UGLY_NAME.replace("\n", "↵") in summarise_all(made_profile(UGLY))


def test_a_long_message_is_wrapped_not_cut():
    message = "word " * 80 + "end."
    text = summarise_all(dataclasses.replace(made_profile(B), health=(Health("click", "warn", message),)))
    assert " ".join(text.split()).count("word") == 80


def test_quantities_without_number_for_one_reason_are_told_together():
    names = ("attack.t50", "attack.t63", "attack.t90")
    gone = {name: Entry(Unmeasured("s", "the gain does not change", "play louder"), "") for name in names}
    text = summarise_all(dataclasses.replace(made_profile(B), quantities=gone))
    assert "\n  Not measured: Attack t50, Attack t63, Attack t90 – the gain does not change\n" in text


def test_a_reason_that_health_has_told_in_full_is_not_told_again():
    message = "Two copies: a second one 0.5 ms behind the sound. Mute it and retake"
    gone = {"attack.t63": Entry(Unmeasured("s", f"two-paths: {message}", "retake"), "")}
    said = Health("two-paths", "stop", f"{message}. Curves not given: timing")
    text = summarise(dataclasses.replace(made_profile(B), quantities=gone, health=(said,)))
    assert "no Attack t63: two-paths, as said above" in text
    assert text.count("Two copies") == 1
