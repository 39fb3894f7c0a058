from types import SimpleNamespace

import pytest
from rippling_stages import profile_of

from charprobe.measuring.chapters.colour.expected import beside_share, expected_words
from charprobe.values.quantity import Quantity, Unmeasured


@pytest.mark.parametrize(
    "name", ["feedforward-rms-hard", "feedforward-average-soft", "feedforward-peak-hard"]
)
def test_the_times_foretell_the_ripple(name):
    table = profile_of(name).curves["colour_and_ripple"].columns
    rows = [
        (measured, low, high)
        for measured, low, high, hz in zip(
            table["h3_dbc"],
            table["expected_low_dbc"],
            table["expected_high_dbc"],
            table["frequency_hz"],
            strict=True,
        )
        if low is not None and measured is not None and hz < 2000
    ]
    assert len(rows) >= 4
    for measured, low, high in rows:
        assert low - 0.3 <= measured <= high + 0.3  # of the stage's own ripple, by its harmonics


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("feedforward-average-soft", "ripple explains it"),
        ("coloured-compressor", "is colour"),
    ],
)
def test_what_the_expected_ripple_says(name, words):
    findings = profile_of(name).findings
    assert any(words in sentence for sentence in findings)


@pytest.mark.parametrize(("share", "told"), [((100.0, 92.0, 100.0), False), ((3.0, 0.0, 9.0), True)])
def test_times_without_ripple_do_not_deny_a_ripple_that_was_measured(share, told):
    rung = SimpleNamespace(origin="colour", shows=lambda order: True)
    none = Unmeasured("dBc", "a gain that moves like this one has no ripple", "none needed", at_most=-130.0)
    expected = beside_share(none, Quantity(*share, "%"))
    assert bool(expected_words(expected, rung, "110 Hz")) == told
    assert (expected.at_most is None) != told
