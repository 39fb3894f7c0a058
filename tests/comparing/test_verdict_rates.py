"""Over many random pairs, a wrong verdict of either kind comes at most in one comparison of twenty."""

import dataclasses
import math

from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.curves import MARGINS
from charprobe.profile import glossary
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Quantity

PAIRS = 300
MOST = 0.05 + 3 * math.sqrt(0.05 * 0.95 / PAIRS)  # a true rate of 5 % passes at three sigma


def noisy(profile, truth, spread, rng, number):
    """The profile with every quantity read once around its truth, intervals as wide as the scatter."""
    quantities = {}
    for name, value in truth.items():
        if MARGINS[name].scale == "ratio":
            read = value * math.exp(rng.normal(0, spread[name]))
            ends = read * math.exp(-1.96 * spread[name]), read * math.exp(1.96 * spread[name])
        else:
            read = value + rng.normal(0, spread[name])
            ends = read - 1.96 * spread[name], read + 1.96 * spread[name]
        quantities[name] = Entry(Quantity(read, *ends, glossary.term(name).unit), "")
    capture = dataclasses.replace(profile.capture, sha256=f"{number:064x}")
    return dataclasses.replace(profile, quantities=quantities, curves={}, capture=capture)


def test_wrong_verdicts_over_random_pairs_keep_the_stated_risk(rng):
    profile, other = made_profile(B), made_profile(dataclasses.replace(B, name="other"))
    names = [name for name in profile.quantities if name in MARGINS and glossary.term(name).unit != "1"]
    wrong = {"same": 0, "different": 0}
    clear = right = 0
    for number in range(PAIRS):
        truth = dict.fromkeys(names, 5.0)
        spread, moved, size = {}, {}, {}
        for name in names:
            margin = MARGINS[name]
            size[name] = math.log(margin.size) if margin.scale == "ratio" else margin.size
            spread[name] = size[name] * rng.uniform(0.02, 0.5)
            # half of the differences lie right beside the margin, where a wrong verdict is likeliest
            share = rng.choice([rng.uniform(0, 2), 0.999, 1.001]) * rng.choice([-1, 1])
            moved[name] = share * size[name]
        after = {
            name: value * math.exp(moved[name]) if MARGINS[name].scale == "ratio" else value + moved[name]
            for name, value in truth.items()
        }
        pair = [
            noisy(profile, truth, spread, rng, 2 * number),
            noisy(other, after, spread, rng, 2 * number + 1),
        ]
        found = {item.name: item.verdict for item in compare_profiles(pair).differences if item.name in moved}
        inside = {name: abs(shift) <= size[name] for name, shift in moved.items()}
        wrong["same"] += any(verdict == "same" and not inside[name] for name, verdict in found.items())
        wrong["different"] += any(verdict == "different" and inside[name] for name, verdict in found.items())
        plain = [
            name
            for name in names
            if spread[name] < 0.08 * size[name] and abs(abs(moved[name]) / size[name] - 1) > 0.5
        ]
        clear += len(plain)
        right += sum(found[name] == ("same" if inside[name] else "different") for name in plain)
    assert wrong["same"] / PAIRS <= MOST
    assert wrong["different"] / PAIRS <= MOST
    # well measured and half a margin off the margin, over four standard deviations: a verdict is reached, not avoided
    assert right / clear > 0.95
