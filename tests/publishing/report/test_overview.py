import dataclasses

from made_profiles import LIMITER, made_profile

from charprobe.publishing.report.page import render_page


def test_sentences_verdicts_truth_and_warnings_are_on_the_page(read):
    text = "".join(read.text)
    assert "D – slower releases 3.1 times slower than B – slow" in text
    assert "≠ release" in text
    assert "Truth beside estimate" in text
    assert "5\u00a0ms" in read.text  # the true value, in the unit of its reading
    assert "Warning · unsettled" in text
    assert "[bypass.wav" not in text


def test_parts_that_have_nothing_to_show_are_left_out():
    profile = dataclasses.replace(made_profile(LIMITER), curves={}, health=(), findings=())
    bare = render_page([profile], title="Bare")
    for heading in (
        "What sets them apart",
        "Laid over each other",
        "Truth beside estimate",
        "How the verdicts",
    ):
        assert heading not in bare
    assert "Health: nothing found wrong." in bare
