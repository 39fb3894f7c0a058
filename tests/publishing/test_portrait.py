import dataclasses

import numpy as np
import pytest
from made_profiles import LIMITER, TWO_STAGE, B, made_profile

from charprobe.profile.entry import NO_BYPASS, Entry, Health, Table
from charprobe.profile.told import Told
from charprobe.publishing.portrait import is_coloured, portrait_of, response_words
from charprobe.values.quantity import Quantity, Unmeasured


def changed(profile, **quantities):
    entries = {name.replace("__", "."): Entry(reading, "") for name, reading in quantities.items()}
    return dataclasses.replace(profile, quantities={**profile.quantities, **entries})


def test_a_compressor_is_told_by_ratio_threshold_knee_gain_and_times():
    told = portrait_of(made_profile(B))
    assert told.level == "Compressor, 4.0:1 from −22.0 dBFS, knee of 6.0 dB, with 3.0 dB of gain."
    assert told.times == "Quick attack (5.0 ms) and medium release (120 ms)."
    assert told.use == "Catches peaks and recovers between words."


def test_a_limiter_and_a_recovery_of_two_parts_are_called_so():
    assert portrait_of(made_profile(LIMITER)).level.startswith(
        "Limiter, 50:1 from −12.0 dBFS, knee of 1.0 dB"
    )
    assert "with a slower second part" in portrait_of(made_profile(TWO_STAGE)).times


def test_a_stage_without_reduction_has_neither_ratio_nor_times():
    gone = Unmeasured("s", "the stage reduces no gain", "none needed")
    none = {"attack__t63": gone, "release__t63": gone}
    top = Unmeasured("dB", "no reduction", "louder steps", at_most=0.05)
    profile = changed(made_profile(B), static__max_reduction=top, **none)
    profile = changed(profile, colour__onset=Quantity.from_std(-42.0, 0.1, "dBFS"))
    told = portrait_of(profile)
    assert told.level == "Colour without compression, with 3.0 dB of gain."
    assert told.times == ""
    assert told.colour.startswith("Adds harmonics from −42.0 dBFS up (THD −59.7 dBc for 997 Hz at −20 dBFS)")


def test_what_spoiled_the_take_is_said_instead_of_what_it_suits():
    clipped = Health("clipped", "stop", "The recorder clipped.")
    assert "spoiled (clipped)" in portrait_of(dataclasses.replace(made_profile(B), health=(clipped,))).use


def test_colour_that_shows_at_another_tone_than_the_reference_is_no_absence_of_colour():
    said = "Colour shows from −30.0 dBFS up at 110 Hz."
    profile = dataclasses.replace(made_profile(B), findings=(said,))
    onset = Unmeasured(
        "dBFS", "tones of 997 Hz show no colour up to −2.0 dBFS", "hotter tones", at_least=-2.0
    )
    clean = dataclasses.replace(profile, quantities={"colour.onset": Entry(onset, "")}, findings=())
    assert portrait_of(clean).colour.startswith("No colour found up to −2.0 dBFS") and not is_coloured(clean)
    bass = dataclasses.replace(clean, findings=(said,))
    assert portrait_of(bass).colour.startswith("Colour shows from −30.0 dBFS up at 110 Hz") and is_coloured(
        bass
    )


def test_what_is_not_known_of_level_is_said_with_its_reason_and_bounds_of_times_in_words():
    units = {"threshold": "dBFS", "ratio": ":1", "slope": "dB/dB", "max_reduction": "dB"}
    lost = {
        f"static__{name}": Unmeasured(unit, "too few level steps had settled", "longer steps")
        for name, unit in units.items()
    }
    late = Unmeasured("s", "the release had not ended", "longer gaps", at_least=0.59)
    told = portrait_of(changed(made_profile(B), **lost, release__t63=late))
    assert told.level.startswith("Threshold and ratio not known (too few level steps had settled), with")
    assert told.times == "Quick attack (5.0 ms) and release (at least 590 ms)."


def test_a_gate_of_which_too_few_steps_tell_is_named_after_what_it_does_above():
    gate = "Gate or expander, working below −47.0 dBFS; too few steps tell how steep it is."
    both = dataclasses.replace(made_profile(B), findings=(gate,))
    assert portrait_of(both).level.startswith("Compressor, 4.0:1")
    gone = Unmeasured("s", "the stage reduces no gain", "none needed")
    top = Unmeasured("dB", "no reduction", "louder steps", at_most=0.05)
    alone = changed(both, static__max_reduction=top, attack__t63=gone, release__t63=gone)
    assert portrait_of(alone).level == gate


def test_an_upward_compressor_of_which_too_few_steps_tell_is_no_unknown_threshold():
    said = f"{Told.LIFTS} below −35.0 dBFS; too few steps tell its ratio."
    unknown = Unmeasured("dBFS", "no reduction begins below −2.0 dBFS", "none needed")
    profile = made_profile(B)
    quantities = {"static.threshold": Entry(unknown, ""), "attack.t63": profile.quantities["attack.t63"]}
    lifting = dataclasses.replace(profile, quantities=quantities, findings=(said,))
    assert portrait_of(lifting).level == said


@pytest.mark.parametrize("attack_s", [0.009996, 0.010004])
def test_a_time_is_called_after_the_number_that_is_printed(attack_s):
    profile = made_profile(B)
    attack = Entry(Quantity.from_std(attack_s, 1e-4, "s"), "")
    profile = dataclasses.replace(profile, quantities={**profile.quantities, "attack.t63": attack})
    assert portrait_of(profile).times.startswith("Medium attack (10.0 ms)")


def test_a_compressor_behind_a_gate_that_is_closed_at_low_levels_is_no_plain_path():
    rises = "Its gain rises with level above −40.3 dBFS, by up to 10.5 dB."
    late = Unmeasured("s", "the gain was still moving", "longer gaps", at_least=0.5)
    changes = {"attack__t63": late, "release__t63": late, "static__max_reduction": Quantity(0, 0, 0.1, "dB")}
    both = changed(dataclasses.replace(made_profile(B), findings=(rises,)), **changes)
    told = portrait_of(both).level
    assert told.startswith("Compressor, 4.0:1") and "; its gain rises with level above −40.3 dBFS" in told
    alone = changed(made_profile(B), **changes)
    assert portrait_of(alone).level == "Filter without compression, with 3.0 dB of gain."  # within 1.3 dB
    level = {"frequency_hz": [20.0, 2e4], "magnitude_db": [0.0, 0.2], "drive_dbfs": [-40.0] * 2}
    flat = dataclasses.replace(
        alone, curves={**alone.curves, "response": Table(level, dict.fromkeys(level, ""))}
    )
    assert portrait_of(flat).level == "A plain path: no compression, with 3.0 dB of gain."


def test_a_threshold_known_to_lie_below_a_level_is_said_in_words():
    low = Unmeasured("dBFS", "the gain changes at the lowest step", "lower steps", at_most=-53.0)
    told = portrait_of(changed(made_profile(B), static__threshold=low)).level
    assert told.startswith("Compressor, 4.0:1 from −53.0 dBFS or lower, knee")


def test_reduction_that_depends_on_the_frequency_is_no_unknown_threshold():
    said = (
        "What it does depends on the frequency: at −5.0 dBFS bursts of 4093 Hz are reduced by 8.2 dB, level "
        "steps by 0.0 dB."
    )
    none = Unmeasured("dBFS", "no reduction begins below −2.0 dBFS", "higher steps", at_least=-2.0)
    slope, most = (Unmeasured(unit, "no reduction", "higher steps") for unit in ("dB/dB", "dB"))
    band = changed(made_profile(B), static__threshold=none, static__slope=slope, static__max_reduction=most)
    assert portrait_of(dataclasses.replace(band, findings=(said,))).level == said
    # nor is what level steps of one frequency show the whole of it
    little = changed(band, static__max_reduction=Quantity(0.5, 0.4, 0.6, "dB"))
    assert portrait_of(dataclasses.replace(little, findings=(said,))).level == said


def test_a_knee_that_may_be_hard_is_told_by_how_wide_it_may_be():
    profile = changed(made_profile(B), static__knee_width=Quantity(0.0, 0.0, 7.0, "dB"))
    assert ", knee of at most 7.0 dB, with" in portrait_of(profile).level
    hard = changed(profile, static__knee_width=Quantity(0.0, 0.0, 0.4, "dB"))
    assert ", hard knee, with" in portrait_of(hard).level


def test_a_stage_that_lifts_what_is_loud_catches_no_peaks():
    profile = made_profile(B)
    timing = profile.curves["timing"]
    lifted = [None if depth is None else -depth for depth in timing.columns["reduction_db"]]
    lifts = Table({**timing.columns, "reduction_db": lifted}, timing.units)
    assert portrait_of(dataclasses.replace(profile, curves={**profile.curves, "timing": lifts})).use == ""


def test_a_curve_that_saturation_flattened_is_colour_and_no_compressor_that_could_not_be_read():
    units = {"threshold": "dBFS", "ratio": ":1", "slope": "dB/dB", "max_reduction": "dB"}
    flat = Unmeasured("dBFS", "the output is flattened by saturation at 19 of 20 levels", "lower steps")
    lost = Unmeasured("s", "the stage reduces no gain; what is lost at high levels is saturation", "none")
    profile = changed(
        made_profile(B),
        **{f"static__{name}": flat.as_of(unit) for name, unit in units.items()},
        **{f"{edge}__t63": lost for edge in ("attack", "release")},
        colour__onset=Quantity.from_std(-20.0, 1.0, "dBFS"),
    )
    assert portrait_of(profile).level == "Colour without compression, with 3.0 dB of gain."


def test_a_second_bend_is_told_with_the_first():
    profile = changed(
        made_profile(B),
        static__second_threshold=Quantity.from_std(-10.0, 0.02, "dBFS"),
        static__second_slope=Quantity.from_std(0.125, 0.0005, "dB/dB"),
    )
    assert portrait_of(profile).level == (
        "Compressor, 4.0:1 from −22.0 dBFS, knee of 6.0 dB, then 8.0:1 from −10.0 dBFS, with 3.0 dB of gain."
    )
    third = dataclasses.replace(profile, findings=("Steeper yet above −6.0 dBFS: 20:1.",))
    assert "8.0:1 from −10.0 dBFS, steeper yet above −6.0 dBFS: 20:1, with" in portrait_of(third).level
    flat = changed(profile, static__second_slope=Quantity.from_std(0.0, 0.0005, "dB/dB"))
    assert ", limiting from −10.0 dBFS, with" in portrait_of(flat).level


def test_a_stage_that_answers_changes_of_level_is_no_plain_path():
    said = (
        "Its gain answers changes of level, not level: +9.0 dB when a burst to −6.0 dBFS begins, then back."
    )
    top = Unmeasured("dB", "no reduction", "louder steps", at_most=0.05)
    gone = Unmeasured("s", "the gain goes out and comes back", "look at the gain trace")
    profile = changed(made_profile(B), static__max_reduction=top, attack__t63=gone, release__t63=gone)
    assert portrait_of(dataclasses.replace(profile, findings=(said,))).level == said


@pytest.mark.parametrize(
    ("slope", "said"), [(0.5, "Upward compressor, 2.0:1 below"), (2.0, "Expander, 1:2.0 below")]
)
def test_what_works_below_a_level_is_told_with_its_ratio(slope, said):
    gone = Unmeasured("s", "the stage reduces no gain", "none needed")
    top = Unmeasured("dB", "no reduction", "louder steps", at_most=0.05)
    lower = Quantity(-40.0, -40.1, -39.9, "dBFS")
    below = {
        "static__lower_threshold": lower,
        "static__lower_slope": Quantity(slope, slope - 0.01, slope + 0.01, "dB/dB"),
    }
    profile = changed(
        made_profile(B), static__max_reduction=top, attack__t63=gone, release__t63=gone, **below
    )
    assert portrait_of(profile).level.startswith(f"{said} −40.0 dBFS")
    dead = "Gain is lost to distortion that grows as the level falls below −40.0 dBFS: no gate or expander."
    assert "low −40" not in portrait_of(dataclasses.replace(profile, findings=(dead,))).level


def test_an_attack_done_ahead_of_the_sound_is_told_by_its_look_ahead():
    done = Unmeasured("s", "done before the edge comes out: the stage looks ahead", "none", at_most=6e-5)
    ahead = Quantity.from_std(2e-3, 1e-5, "s")
    told = portrait_of(changed(made_profile(B), attack__t63=done, attack__lookahead=ahead))
    assert told.times == "Attack done ahead of the sound (look-ahead 2.0 ms) and medium release (120 ms)."


def test_a_compressor_that_also_gates_is_told_with_its_gate():
    gate = "Gate or expander, working below −47.0 dBFS, down to a gain of −14.0 dB; too few steps tell how steep it is."
    both = dataclasses.replace(made_profile(B), findings=(gate,))
    assert portrait_of(both).level.endswith(
        "with 3.0 dB of gain; gate or expander, working below −47.0 dBFS, down to a gain of −14.0 dB."
    )


def test_a_low_cut_is_told_by_its_corner_not_by_how_far_it_falls():
    hz = np.geomspace(20.0, 20e3, 61)
    fall_db = -10 * np.log10(1 + (60.0 / hz) ** 4)
    columns = {"frequency_hz": hz.tolist(), "drive_dbfs": [-40.0] * hz.size, "magnitude_db": fall_db.tolist()}
    made = made_profile(B)
    profile = dataclasses.replace(
        made, curves=made.curves | {"response": Table(columns, dict.fromkeys(columns, ""))}
    )
    gone = Unmeasured("dB", "no simple shape", "none needed")
    corner = Quantity(60.0, 59.0, 61.0, "Hz")
    told = changed(profile, response__shelf_gain=gone, response__low_corner=corner)
    assert response_words(told) == "response −3\u00a0dB at 60 Hz"
    assert response_words(changed(told, response__low_corner=gone.as_of("Hz"))) == "response within ±9.6 dB"


def test_a_recovery_whose_last_part_clings_is_not_said_to_be_over_between_words():
    late = Unmeasured(
        "s", "not reached", "longer gaps", at_least=0.593
    )  # of an exponential of 120 ms: 276 ms
    told = portrait_of(changed(made_profile(B), release__t90=late))
    assert told.use == "Catches peaks and recovers most of the way between words."


@pytest.mark.parametrize(("reason", "said"), [(NO_BYPASS, False), ("its axis drifted", True)])
def test_without_a_bypass_the_gain_of_the_path_is_not_called_the_settings(reason, said):
    level = portrait_of(changed(made_profile(B), static__makeup_gain=Unmeasured("dB", reason, "x"))).level
    assert ("with 3.2 dB of gain" in level) == said
