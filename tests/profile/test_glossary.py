import re

from charprobe.profile import glossary

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
