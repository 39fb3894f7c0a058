import dataclasses

import pytest
from compared import pair, verdicts
from made_profiles import LIMITER, B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Unmeasured


def test_settings_that_differ_in_release_only_are_said_to_share_a_curve():
    comparison = pair(B, D)
    assert (
        "B – slow and D – slower share one static curve (within ±0.1 dB from −60 to −3 dBFS)."
        in comparison.sentences
    )
    assert "B – slow and D – slower attack equally fast (within a factor of 1.1)." in comparison.sentences
    assert any(
        s.startswith("D – slower releases 3.1 times slower than B – slow (3.0") for s in comparison.sentences
    )
    different = {name for name, verdict in verdicts(comparison).items() if verdict == "different"}
    assert different == {"release.t50", "release.t63", "release.t90", "release trace"}


def test_turned_round_slower_becomes_faster():
    assert any("B – slow releases 3.1 times faster than D – slower" in s for s in pair(D, B).sentences)


def test_one_input_of_six_that_is_louder_stands_out_in_one_sentence():
    odd = dataclasses.replace(B, makeup_db=B.makeup_db + 0.3)
    profiles = [made_profile(odd if channel == 3 else B, channel=channel) for channel in range(1, 7)]
    sentences = compare_profiles(profiles).sentences
    assert "Channel 3 stands out in make-up gain: 0.29 to 0.31 dB above the others." in sentences
    assert sum("stands out" in line for line in sentences) == 1
    assert "Channels 1 to 6 attack equally fast (within a factor of 1.1)." in sentences


def test_a_clean_pair_says_no_difference_larger_than():
    kept = ("static.threshold", "static.slope", "static.makeup_gain", "attack.t63", "release.t63")
    profiles = []
    for channel in (1, 2):
        full = made_profile(B, channel=channel)
        profiles.append(dataclasses.replace(full, quantities={name: full.quantities[name] for name in kept}))
    line = next(line for line in compare_profiles(profiles).sentences if "no difference" in line)
    assert line.startswith(
        "Channels 1 and 2: no difference larger than static curve ±0.1 dB, attack trace "
        "±0.5 dB, release trace ±0.5 dB, response ±0.2 dB, distortion ±1 dB, bass "
        "distortion ±1 dB, treble distortion ±1 dB, noise spectrum ±3 dB, threshold"
    )


def test_channels_that_match_are_told_in_one_sentence():
    kept = ("static.threshold", "static.makeup_gain")
    odd = dataclasses.replace(B, makeup_db=4.0)
    profiles = []
    for channel in range(1, 6):
        full = made_profile(odd if channel == 4 else B, channel=channel)
        profiles.append(dataclasses.replace(full, quantities={name: full.quantities[name] for name in kept}))
    told = [line for line in compare_profiles(profiles).sentences if "no difference larger" in line]
    assert len(told) == 1
    assert told[0].startswith("Channels 1 to 3 and 5: no difference larger than static curve ±0.1 dB")


def test_of_many_compressors_the_ends_are_told_and_whose_they_are():
    settings = [
        dataclasses.replace(B, name=f"s{i}", threshold_dbfs=-30.0 + 4 * min(i, 2), attack_s=0.002 * (1 + i))
        for i in range(4)
    ]
    (line,) = (one for one in compare_profiles([*map(made_profile, settings)]).sentences if "Dynamics" in one)
    assert "threshold from −30.0 dBFS (s0) to −22.0 dBFS;" in line  # s2 and s3 share the upper end
    assert "ratio" not in line and "attack from 2.0 ms (s0) to 8.0 ms (s3)" in line


@pytest.mark.parametrize(
    ("bound", "told"), [(200.0, "ratio from 2.0:1 (s0) to ≥ 100:1 (Limiter)"), (2.5, "")]
)
def test_a_ratio_that_is_only_a_bound_is_an_end_or_leaves_both_ends_untold(bound, told):
    flat, entry = made_profile(LIMITER), Entry(Unmeasured(":1", "too flat", "-", at_least=bound), "")
    profiles = [made_profile(dataclasses.replace(B, name=f"s{i}", ratio=2.0 + i)) for i in range(2)]
    profiles.append(dataclasses.replace(flat, quantities={**flat.quantities, "static.ratio": entry}))
    (line,) = (one for one in compare_profiles(profiles).sentences if "Dynamics" in one)
    assert told in line if told else "ratio" not in line
