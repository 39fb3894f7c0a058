import re

from charprobe.profile import glossary
from charprobe.profile.glossary.row import Goal

UNITS = {"dBFS", "dB", "dB/dB", ":1", "s", "Hz", "dBc", "dB/decade", "dB/ms", "dB/s", "samples", "%", "1"}


def test_every_term_has_a_plain_unit_a_title_and_one_sentence():
    for name, term in glossary.TERMS.items():
        assert term.unit in UNITS, name
        assert 2 < len(term.title) <= 30, name
        assert re.fullmatch(r"[A-Z1][^\n]+\.", term.definition), name


def test_names_are_dotted_and_stand_group_by_group():
    seen = [glossary.group(name) for name in glossary.TERMS]
    assert [g for i, g in enumerate(seen) if i == 0 or seen[i - 1] != g] == list(glossary.GROUPS)


def test_definition_order_keeps_titles_apart():
    titles = [term.title for term in glossary.TERMS.values()]
    assert len(set(titles)) == len(titles)


def test_what_is_compared_through_another_has_no_margin_of_its_own_and_that_other_has():
    through = {name: term for name, term in glossary.TERMS.items() if term.through}
    assert through.keys() == {"static.ratio", "path.latency_samples"}
    for term in through.values():
        assert term.margin is None
        assert glossary.term(term.through).margin is not None


def test_dbu_applies_to_levels_on_the_input_axis_alone():
    levels = {name for name, term in glossary.TERMS.items() if term.on_input_axis}
    assert {"static.threshold", "colour.onset"} < levels
    assert all(glossary.term(name).unit == "dBFS" for name in levels)
    assert not any(name.startswith("noise.") for name in levels)


def test_every_segment_serves_known_groups_or_quantities():
    for names in glossary.SERVES.values():
        assert all(name in glossary.GROUPS or name in glossary.TERMS for name in names)


def test_a_goal_allows_the_larger_of_its_parts():
    goal = Goal(absolute=0.1, relative=0.02, samples=2)
    assert goal.allowed(-10.0, rate_hz=48_000) == 0.2
    assert goal.allowed(1.0, rate_hz=48_000) == 0.1
    assert goal.allowed(1.0, rate_hz=10) == 0.2
