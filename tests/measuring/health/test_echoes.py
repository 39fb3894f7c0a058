from charprobe.measuring.health.echoes import folded, together
from charprobe.profile.entry import Health

CODED = Health("lossy-coded", "stop", "Coded", 0, withholds=("noise",))
MUTE = Health("idle-mute", "warn", "Mute", 0)
BITS = Health("few-bits", "stop", "Bits", 0, withholds=("colour",))
LOST = Health("dropout", "stop", "Gap", 0, withholds=("static",))


def test_an_echo_is_named_by_its_cause_which_withholds_what_the_echo_did():
    (told,) = folded([MUTE, CODED, BITS])
    assert told.code == "lossy-coded"
    assert told.message == "Coded. Explained by it, as far as can be told: idle-mute, few-bits"
    assert told.withholds == ("noise", "colour")


def test_a_cause_that_takes_back_what_an_echo_did_no_longer_says_that_all_is_given():
    ring = Health("spur", "warn", "Ring. Everything is given, marked", 0, start_s=3.0)
    assert "Everything" in folded([ring, MUTE])[0].message
    (told,) = folded([ring, CODED])
    assert told.message.startswith("Ring. What it spoils is not given, the rest is marked. Explained")


def test_what_has_no_cause_and_what_is_sure_by_itself_stays():
    assert folded([MUTE, LOST]) == (MUTE, LOST)
    assert folded([LOST, CODED]) == (LOST, CODED)


def test_a_steady_tone_and_a_note_explain_nothing():
    tone = Health("spur", "warn", "Tone", 0)
    assert folded([tone, MUTE]) == (tone, MUTE)
    note = Health("hum", "note", "Hum", 0)
    assert folded([note, MUTE]) == (note, MUTE)
    ring = Health("spur", "warn", "Ring", 0, start_s=3.0)
    assert [item.code for item in folded([ring, MUTE])] == ["spur"]


def test_a_foreign_sound_explains_clicks_only_while_it_sounds():
    ring = Health("spur", "warn", "Ring", 0, start_s=3.0, end_s=4.0)
    early, within = (Health("click", "warn", "Click", 0, start_s=at_s, end_s=at_s) for at_s in (1.0, 3.5))
    assert [item.code for item in folded([early, within, ring])] == ["click", "spur"]


def test_one_fault_at_many_places_is_one_finding_and_others_are_their_own():
    texts = [f"Gap of {n} samples at 0:0{n}; segment '{n}' withheld" for n in (1, 2, 3)]
    gaps = [
        Health("dropout", "stop", text, 0, n, n + 0.5, withholds=(f"group {n}",))
        for n, text in enumerate(texts)
    ]
    turned = Health("dropout", "stop", "Phase jumps 9 degrees at 0:05", 0, 5.0)
    one, other = together([gaps[0], turned, *gaps[1:]])
    assert one.message.startswith(texts[0]) and "Again at 0:00:01.000, 0:00:02.000, until" in one.message
    assert (one.start_s, one.end_s, one.withholds) == (0, 2.5, ("group 0", "group 1", "group 2"))
    assert other == turned
    assert together([LOST, LOST]) == (LOST,)
